"""Why edges go dull early: what the dies say of the presses, and the suspects of one short cycle.

Reads what the look back kept (forecasts/causes.py). A suspect is named with its odds and never blamed from one case.
"""
