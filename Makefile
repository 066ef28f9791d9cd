# The commands of the project; each works without make too: python3 diestore/bootstrap.py NAME
PYTHON ?= python3

.PHONY: help demo test install setup calibration bench

help: ## list the commands
	@grep -E '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## (.*)/  make \1\t\2/' | expand -t 20

demo: ## the demo shop on http://127.0.0.1:8000 (PORT=... for another port)
	@$(PYTHON) diestore/bootstrap.py demo

test: ## everything that has to pass
	@$(PYTHON) diestore/bootstrap.py test

install: ## only .venv with what the service runs with
	@$(PYTHON) diestore/bootstrap.py install

setup: ## only .venv with the development set
	@$(PYTHON) diestore/bootstrap.py setup

calibration: ## how right the forecasts are on shops with a known truth
	@$(PYTHON) diestore/bootstrap.py calibration

bench: ## speed and memory, as ratios in one run
	@$(PYTHON) diestore/bootstrap.py bench
