"""Makes `.venv` from the hashed lock and runs a command in it.

Standard library only: it runs before anything is installed.

python3 diestore/bootstrap.py setup | demo | test | calibration | bench   [more arguments for the command]
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
STAMP = VENV / ".setup-stamp"
OLDEST = (3, 11)
LOCKS = {"run": "requirements.lock", "development": "requirements-dev.lock"}


class CannotGoOn(Exception):
    """What is missing and what to do about it, in a sentence."""


def venv_python() -> Path:
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def lock_hash(name: str) -> str:
    return hashlib.sha256((ROOT / LOCKS[name]).read_bytes()).hexdigest()


def is_ready(wanted: str) -> bool:
    """Whether the environment holds the wanted set; the development set holds the one to run with too."""
    if not (STAMP.exists() and venv_python().exists()):
        return False
    stamped = STAMP.read_text().split()
    return any(stamped == [name, lock_hash(name)] for name in {wanted, "development"})


def make_environment(wanted: str) -> None:
    if sys.version_info < OLDEST:
        raise CannotGoOn(
            f"This Python is {sys.version_info.major}.{sys.version_info.minor}; "
            f"diestore needs {OLDEST[0]}.{OLDEST[1]} or newer. Install one and run this again with it."
        )
    if is_ready(wanted):
        return
    if not venv_python().exists():
        print("Making .venv ...", flush=True)
        try:
            import ensurepip  # noqa: F401  (Debian ships venv without it unless python3-venv is installed)
            import venv
        except ImportError as error:
            raise CannotGoOn(
                "Python's venv module is incomplete here. On Debian or Ubuntu: apt-get install python3-venv."
            ) from error
        venv.create(VENV, with_pip=True, clear=VENV.exists())
    STAMP.unlink(missing_ok=True)
    print(f"Installing what {LOCKS[wanted]} names (half a minute the first time) ...", flush=True)
    uv = shutil.which("uv")
    if uv:
        command = [uv, "pip", "install", "--quiet", "--python", str(venv_python())]
    else:
        command = [str(venv_python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    done = subprocess.run([*command, "--require-hashes", "-r", str(ROOT / LOCKS[wanted])], check=False)
    if done.returncode:
        raise CannotGoOn(
            "The packages could not be installed; the lines above say why. Is the network there? Run this again."
        )
    STAMP.write_text(f"{wanted} {lock_hash(wanted)}\n")


def run(*command: str) -> int:
    return subprocess.run([str(venv_python()), *command], cwd=ROOT, check=False).returncode


def run_tests(arguments: list[str]) -> int:
    """Everything that has to pass, in the order in which it is quick to fail."""
    workers = [] if any(a.startswith("-n") for a in arguments) else ["-n", "2"]
    steps = (
        ("style", ["-m", "ruff", "check", "."]),
        ("format", ["-m", "ruff", "format", "--check", "."]),
        ("import contracts", ["-c", "from importlinter.cli import lint_imports_command as c; c()"]),
        ("migrations", ["manage.py", "makemigrations", "--check", "--dry-run", "-v", "0"]),
        ("tests", ["-m", "pytest", *workers, *arguments]),
    )
    for name, command in steps:
        code = run(*command)
        if code:
            print(f"{name}: failed", file=sys.stderr)
            return code
    return 0


COMMANDS = {
    "setup": ("development", lambda more: 0),
    "demo": ("run", lambda more: run("manage.py", "demo", *more)),
    "test": ("development", run_tests),
    "calibration": ("development", lambda more: run("-m", "tests.life.calibration", *more)),
    "bench": ("development", lambda more: run("-m", "tests.benchmarks", *more)),
}


def main(arguments: list[str]) -> int:
    if not arguments or arguments[0] not in COMMANDS:
        print(__doc__)
        return 2
    wanted, command = COMMANDS[arguments[0]]
    try:
        make_environment(wanted)
        return command(arguments[1:])
    except CannotGoOn as reason:
        print(reason, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
