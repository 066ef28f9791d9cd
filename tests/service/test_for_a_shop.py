"""The steps that set it up for a shop: each command is there, the units are taken, the settings pass the check."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path

import pytest
from django.core.management import load_command_class
from django.urls import reverse

from diestore import environment
from diestore.service import serving

ROOT = Path(__file__).resolve().parents[2]
STEPS = ROOT / "diestore" / "service" / "for_a_shop"
PAGE = (STEPS / "README.md").read_text(encoding="utf-8")
PYTHON = "/srv/diestore/.venv/bin/python"


def unit(name: str) -> ConfigParser:
    read = ConfigParser(interpolation=None, strict=False)
    read.optionxform = str
    read.read_string((STEPS / name).read_text(encoding="utf-8"))
    return read


def understood(words: list[str]) -> str:
    """The command of `manage.py`, which takes these options. Whatever is wrong with them is raised."""
    command, *options = words
    app = next(
        app
        for app in ("diestore", "maintenance", "reports", "django.core")
        if (_commands(app) / f"{command}.py").exists()
    )
    parser = load_command_class(app, command).create_parser("manage.py", command)
    parser.called_from_command_line = False  # a mistake is raised and ends nothing
    parser.parse_args(options)
    return command


def _commands(app: str) -> Path:
    if app == "django.core":
        return Path(sys.modules["django.core.management"].__path__[0]) / "commands"
    return ROOT / app / "management" / "commands"


def steps() -> list[str]:
    return [line.strip() for line in re.findall(r"^    (\S.*)$", PAGE, re.M)]


def test_every_command_of_the_steps_is_one_that_there_is():
    told = [line.split("manage.py ", 1)[1] for line in steps() if "manage.py" in line]
    assert {understood(shlex.split(line)) for line in told} == {"migrate", "check", "backup", "restore"}
    with pytest.raises(Exception, match=r"unrecognized|required"):  # the reading of a step can fail
        understood(["backup", "FOLDER", "--for-ever"])
    for line in steps():
        if "bootstrap.py" in line:
            assert (ROOT / line.split()[1]).is_file() and line.split()[2] in (ROOT / line.split()[1]).read_text()


@pytest.mark.parametrize(("name", "command"), [("diestore.service", "serve"), ("diestore-backup.service", "backup")])
def test_what_a_unit_starts_is_a_command_with_its_options(name, command):
    service = unit(name)["Service"]
    program, script, *words = shlex.split(service["ExecStart"])
    assert (program, script) == (PYTHON, "manage.py") and understood(words) == command
    assert service["WorkingDirectory"] == "/srv/diestore" and service["User"] == "diestore"


def test_every_file_that_the_steps_name_is_there_and_every_file_is_named():
    for file in STEPS.iterdir():
        assert file.name == "README.md" or f"`{file.name}`" in PAGE, file.name
    for name in re.findall(r"`([\w-]+\.(?:service|timer|conf|env))`", PAGE):
        assert (STEPS / name).is_file(), name
    started = set(re.findall(r"systemctl (?:enable --now|start|stop) (\S+)", PAGE))
    assert started == {file.name for file in STEPS.glob("*.service")} | {file.name for file in STEPS.glob("*.timer")}


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd on this machine")
def test_systemd_takes_the_units(tmp_path):
    for file in [*STEPS.glob("*.service"), *STEPS.glob("*.timer")]:
        text = file.read_text(encoding="utf-8").replace(PYTHON, sys.executable).replace("/srv/diestore", str(ROOT))
        (tmp_path / file.name).write_text(text.replace("User=diestore\n", ""), encoding="utf-8")
    taken = verify(tmp_path)
    assert taken.returncode == 0 and "diestore" not in taken.stderr, taken.stderr
    wrong = tmp_path / "diestore.service"
    wrong.write_text(wrong.read_text().replace("ExecStart=", "ExecStart=/no/such/"), encoding="utf-8")
    assert "diestore.service" in verify(tmp_path).stderr  # it would have been told


def verify(folder: Path) -> subprocess.CompletedProcess:
    units = sorted(str(file) for file in folder.iterdir())
    return subprocess.run(["systemd-analyze", "verify", *units], capture_output=True, text=True, check=False)


@pytest.mark.walk
def test_the_settings_pass_the_check_of_a_deployment(tmp_path):
    told = (STEPS / "diestore.env").read_text(encoding="utf-8")
    told = told.replace("/srv/diestore/data", str(tmp_path)).replace(
        "put-fifty-or-more", "x7Qb29fLmN4kTz81Wc-a-few-more"
    )
    (tmp_path / "diestore.env").write_text(told, encoding="utf-8")
    around = {name: value for name, value in os.environ.items() if not name.startswith(("DIESTORE_", "DATABASE_URL"))}
    words = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    said = subprocess.run(
        words, cwd=ROOT, env=around | {"DIESTORE_ENV": str(tmp_path / "diestore.env")}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert said.returncode == 0, said.stderr
    assert set(environment.read(STEPS / "diestore.env")) >= {"DIESTORE_HTTPS", "DIESTORE_PROXIES", "DIESTORE_HOSTS"}


def test_the_server_in_front_says_what_is_taken_and_lets_the_largest_request_through():
    conf = (STEPS / "https.conf").read_text(encoding="utf-8")
    at = shlex.split(unit("diestore.service")["Service"]["ExecStart"])
    assert f"proxy_pass http://{at[at.index('--listen') + 1]};" in conf
    assert re.findall(r"proxy_set_header (\S+)", conf) == ["Host", "X-Forwarded-For", "X-Forwarded-Proto"]
    most = int(re.search(r"client_max_body_size (\d+)m;", conf)[1])
    assert most * 2**20 >= serving.Limits().body_bytes
    assert reverse("diestore:alive") in PAGE and reverse("diestore:service_json") in PAGE
