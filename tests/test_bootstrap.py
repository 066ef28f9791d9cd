"""The set-up before anything is installed: it installs what the lock's hashes allow, once, and ends with a sentence."""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
import types
import venv
import zipfile
from pathlib import Path

import pytest

from diestore import bootstrap

pytestmark = pytest.mark.no_database

MANAGE = """\
import os, sys, time
try:
    import burrgauge
    found = burrgauge.SIZE
except ImportError:
    found = None
print("manage", sys.argv[1:], "burrgauge", found, "in", sys.prefix, flush=True)
if "--wait" in sys.argv:
    try:
        time.sleep(60)
    except KeyboardInterrupt:
        time.sleep(1)
        print("manage ended in its own way", flush=True)
if "--fail" in sys.argv:
    sys.exit(7)
"""


def wheel(folder: Path) -> tuple[str, str]:
    """An invented package of one line, as a wheel; the line of a lock that names it, and its hash."""
    folder.mkdir()
    files = {
        "burrgauge.py": b"SIZE = 42\n",
        "burrgauge-1.0.dist-info/METADATA": b"Metadata-Version: 2.1\nName: burrgauge\nVersion: 1.0\n",
        "burrgauge-1.0.dist-info/WHEEL": b"Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = ""
    for name, data in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
        record += f"{name},sha256={digest},{len(data)}\n"
    record += "burrgauge-1.0.dist-info/RECORD,,\n"
    path = folder / "burrgauge-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
        archive.writestr("burrgauge-1.0.dist-info/RECORD", record)
    return "burrgauge==1.0", hashlib.sha256(path.read_bytes()).hexdigest()


class Checkout:
    """A project of nothing but the set-up, two locks and a manage.py; no network, packages from a folder only."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "a checkout"
        (self.root / "diestore").mkdir(parents=True)
        shutil.copy(bootstrap.__file__, self.root / "diestore" / "bootstrap.py")
        (self.root / "manage.py").write_text(MANAGE)
        self.name, self.digest = wheel(folder / "wheels")
        self.lock(self.digest)
        tools = folder / "tools"  # a PATH without uv, so that pip is what is tried
        tools.mkdir()
        self.environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith(("PIP_", "UV_", "VIRTUAL_ENV"))},
            "PATH": str(tools),
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(folder / "wheels"),
            "PIP_CONFIG_FILE": os.devnull,
        }

    def lock(self, digest: str) -> None:
        for name in bootstrap.LOCKS.values():
            (self.root / name).write_text(f"{self.name} --hash=sha256:{digest}\n")

    def command(self, *arguments: str) -> list[str]:
        return [sys.executable, str(self.root / "diestore" / "bootstrap.py"), *arguments]

    def __call__(self, *arguments: str) -> subprocess.CompletedProcess:
        return subprocess.run(
            self.command(*arguments), env=self.environment, capture_output=True, text=True, timeout=300, check=False
        )


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    return Checkout(tmp_path_factory.mktemp("set-up"))


def test_installs_once_and_again_when_the_lock_changed(checkout):
    first = checkout("demo", "--no-serve")
    assert first.returncode == 0, first.stderr
    assert "Installing what requirements.lock names" in first.stdout
    assert "manage ['demo', '--no-serve'] burrgauge 42" in first.stdout
    assert str(checkout.root / ".venv") in first.stdout

    second = checkout("demo")
    assert "Installing" not in second.stdout and "burrgauge 42" in second.stdout

    development = checkout("setup")
    assert development.returncode == 0, development.stderr
    assert "Installing what requirements-dev.lock names" in development.stdout
    assert "Installing" not in checkout("demo").stdout, "the development set holds the one to run with"

    with (checkout.root / "requirements-dev.lock").open("a") as file:
        file.write("# changed\n")
    assert "Installing what requirements-dev.lock names" in checkout("setup").stdout


def test_what_a_command_ends_with_is_passed_on(checkout):
    assert checkout("demo", "--fail").returncode == 7


@pytest.mark.parametrize("hashes", [" --hash=sha256:" + "0" * 64, ""], ids=["another hash", "no hash"])
def test_a_package_that_is_not_the_locked_one_is_refused(checkout, hashes):
    installed = [path for path in (checkout.root / ".venv").rglob("burrgauge*") if path.suffix != ".pyc"]
    for path in installed:
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    for name in bootstrap.LOCKS.values():
        (checkout.root / name).write_text(f"{checkout.name}{hashes}\n")
    try:
        refused = checkout("demo")
        assert refused.returncode == 1
        assert "hash" in refused.stderr.lower()
        assert refused.stderr.endswith(bootstrap.NOT_INSTALLED + "\n")
        assert "Traceback" not in refused.stderr
        assert "manage" not in refused.stdout, "nothing is run on a half-made environment"
        assert not (checkout.root / ".venv" / ".setup-stamp").exists(), "nor is it counted as done the next time"
    finally:
        checkout.lock(checkout.digest)


@pytest.mark.skipif(os.name != "posix", reason="signals to a group of processes")
@pytest.mark.parametrize(("sent", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_breaking_off_is_quiet_and_waits_for_the_command(checkout, sent, code):
    checkout("demo")
    running = subprocess.Popen(
        checkout.command("demo", "--wait"),
        env=checkout.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # A suite started in the background of a script runs with SIGINT ignored, and so would what it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert "manage" in running.stdout.readline()
    time.sleep(0.2)
    if sent == signal.SIGINT:
        os.killpg(running.pid, sent)  # as a terminal does
    else:
        os.kill(running.pid, sent)
    told, complaint = running.communicate(timeout=60)
    assert complaint == ""
    assert running.returncode == code
    assert ("ended in its own way" in told) == (sent == signal.SIGINT)
    with pytest.raises(ProcessLookupError):
        os.killpg(running.pid, 0)


@pytest.fixture
def bare(tmp_path, monkeypatch):
    """The set-up in a folder without an environment."""
    monkeypatch.setattr(bootstrap, "ROOT", tmp_path)
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(bootstrap, "STAMP", tmp_path / ".venv" / ".setup-stamp")
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: None)
    for name in bootstrap.LOCKS.values():
        (tmp_path / name).write_text("")
    return tmp_path


def test_an_old_python_is_told_before_anything_is_made(bare, monkeypatch, capsys):
    monkeypatch.setattr(bootstrap, "OLDEST", (99, 0))
    assert bootstrap.main(["setup"]) == 1
    said = capsys.readouterr().err
    assert f"This Python is {sys.version_info[0]}.{sys.version_info[1]}" in said and "99.0" in said
    assert not (bare / ".venv").exists()


def test_the_oldest_python_is_the_one_the_project_names():
    import tomllib

    project = tomllib.loads((bootstrap.ROOT / "pyproject.toml").read_text())["project"]
    assert project["requires-python"] == ">=" + ".".join(map(str, bootstrap.OLDEST))


@pytest.mark.parametrize("missing", ["ensurepip", "venv"])
def test_a_missing_venv_is_told_with_the_package_that_brings_it(bare, monkeypatch, capsys, missing):
    monkeypatch.setitem(sys.modules, missing, None)
    assert bootstrap.main(["demo"]) == 1
    assert "python3-venv" in capsys.readouterr().err


def test_an_environment_whose_making_was_broken_off_is_made_again(bare, monkeypatch):
    made = []
    monkeypatch.setattr(bootstrap, "make_environment", lambda **how: made.append(how))
    monkeypatch.setattr(bootstrap, "wait_for", lambda command: 9)
    (bare / ".venv").mkdir()
    assert bootstrap.main(["setup"]) == 9, "the installer's own code"
    venv.create(bare / ".venv", with_pip=False)
    bootstrap.main(["setup"])
    assert made == [{"with_pip": True}] * 2
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: "uv")
    bootstrap.main(["setup"])
    assert len(made) == 2, "uv needs no pip in it"


@pytest.mark.parametrize("arguments", [[], ["dmeo"], ["--help"]])
def test_an_unknown_command_lists_the_known(arguments, capsys):
    assert bootstrap.main(arguments) == 2
    assert all(f"\n  {name} " in bootstrap.__doc__ for name in bootstrap.COMMANDS)
    assert capsys.readouterr().out.strip() == bootstrap.__doc__.strip()


def test_the_python_of_the_environment_on_either_system(monkeypatch):
    for system, ending in (("nt", "Scripts/python.exe"), ("posix", "bin/python")):
        monkeypatch.setattr(bootstrap, "os", types.SimpleNamespace(name=system))
        assert bootstrap.venv_python() == bootstrap.VENV / ending


def test_the_first_failure_ends_the_tests(monkeypatch, capsys):
    ran = []

    def run(*command):
        ran.append(command)
        return 3 if "format" in command else 0

    monkeypatch.setattr(bootstrap, "run", run)
    assert bootstrap.run_tests([]) == 3
    assert len(ran) == 2 and "format: failed" in capsys.readouterr().err

    monkeypatch.setattr(bootstrap, "run", lambda *command: ran.append(command) or 0)
    assert bootstrap.run_tests(["-n", "0", "-k", "laws"]) == 0
    assert ran[-1][-4:] == ("-n", "0", "-k", "laws") and "2" not in ran[-1]


def test_make_and_plain_python_know_the_same_commands():
    rules = [
        line.split("diestore/bootstrap.py ")[1].split()[0]
        for line in (bootstrap.ROOT / "Makefile").read_text().splitlines()
        if "diestore/bootstrap.py " in line and line.startswith("\t")
    ]
    assert sorted(rules) == sorted(bootstrap.COMMANDS)


def test_no_module_beside_it_hides_one_of_python():
    """Run as a file, its folder is searched first: a diestore/calendar.py would be imported for Python's own. A folder
    without modules, as that of the catalogues, is not: Python takes it only where it finds nothing else."""
    folder = Path(bootstrap.__file__).parent
    beside = {path.stem for path in folder.glob("*.py")} | {path.parent.name for path in folder.glob("*/*.py")}
    assert not beside & sys.stdlib_module_names
    search = [
        sys.executable,
        "-c",
        f"import sys; sys.path.insert(0, {str(folder)!r}); import locale; locale.getlocale()",
    ]
    subprocess.run(search, check=True)
