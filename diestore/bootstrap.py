"""Makes `.venv` from the hashed lock and runs a command in it.

python3 diestore/bootstrap.py COMMAND [more arguments for the command]

  install      only .venv with what the service runs with
  setup        only .venv with the development set
  demo         the demo shop on http://127.0.0.1:8000 (PORT=... for another port)
  test         everything that has to pass
  calibration  how right the forecasts are on shops with a known truth
  bench        speed and memory, as ratios in one run
"""

# Standard library only: this runs before anything is installed.

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
STAMP = VENV / ".setup-stamp"
OLDEST = (3, 11)
LOCKS = {"run": "requirements.lock", "development": "requirements-dev.lock"}
NO_VENV = (
    "Python's venv module is incomplete here. On Debian or Ubuntu: apt-get install python3-venv. Then run this again."
)
NOT_INSTALLED = "The packages could not be installed; the lines above say why. Is the network there? Run this again."
BROKEN_OFF = 130  # what a shell gives for Ctrl-C


class CannotGoOn(Exception):
    """What is missing and what to do about it, in a sentence; and the code to end with."""

    def __init__(self, sentence: str, code: int = 1) -> None:
        super().__init__(sentence)
        self.code = code


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


def prepare(wanted: str) -> None:
    """The environment with the wanted set in it; nothing to do where it is there already."""
    if sys.version_info < OLDEST:
        raise CannotGoOn(
            f"This Python is {sys.version_info[0]}.{sys.version_info[1]}; diestore needs {OLDEST[0]}.{OLDEST[1]} "
            "or newer. Install one and run this again with it."
        )
    if is_ready(wanted):
        return
    uv = shutil.which("uv")
    if not has_installer(uv):
        make_environment(with_pip=not uv)
    STAMP.unlink(missing_ok=True)
    print(f"Installing what {LOCKS[wanted]} names (half a minute the first time) ...", flush=True)
    if uv:
        command = [uv, "pip", "install", "--quiet", "--python", str(venv_python())]
    else:
        command = [str(venv_python()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    code = wait_for([*command, "--require-hashes", "-r", str(ROOT / LOCKS[wanted])])
    if code:
        raise CannotGoOn(NOT_INSTALLED, code)
    STAMP.write_text(f"{wanted} {lock_hash(wanted)}\n")


def has_installer(uv: str | None) -> bool:
    """Whether `.venv` can be installed into. Where its making was broken off, it has a Python and no pip."""
    if not venv_python().exists():
        return False
    asked = [str(venv_python()), "-c", "import sys" if uv else "import pip"]
    return subprocess.run(asked, check=False, capture_output=True).returncode == 0


def make_environment(*, with_pip: bool) -> None:
    try:
        import venv

        if with_pip:
            import ensurepip  # noqa: F401  (Debian ships venv without it unless python3-venv is installed)
    except ImportError as error:
        raise CannotGoOn(NO_VENV) from error
    print("Making .venv ...", flush=True)
    try:
        venv.create(VENV, with_pip=with_pip, clear=VENV.exists())
    except subprocess.CalledProcessError as error:
        raise CannotGoOn(NO_VENV) from error


def run(*command: str) -> int:
    return wait_for([str(venv_python()), *command])


def wait_for(command: list[str]) -> int:
    """Run it to its end. Ctrl-C reaches it too, and it ends in its own way; a request to end is handed on."""
    child = subprocess.Popen(command, cwd=ROOT)
    before = signal.signal(signal.SIGTERM, lambda number, frame: child.terminate())
    broken_off = False
    try:
        while True:
            try:
                code = child.wait()
                break
            except KeyboardInterrupt:
                broken_off = True
    finally:
        signal.signal(signal.SIGTERM, before)
    if broken_off:
        raise KeyboardInterrupt
    return code if code >= 0 else 128 - code


def run_tests(arguments: list[str]) -> int:
    """Everything that has to pass, in the order in which it is quick to fail."""
    cores = min(max(os.cpu_count() or 2, 2), 4)
    workers = [] if any(a.startswith("-n") for a in arguments) else ["-n", str(cores), "--dist", "worksteal"]
    contracts = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_logo=True))"
    steps = (
        ("style", ["-m", "ruff", "check", "."]),
        ("format", ["-m", "ruff", "format", "--check", "."]),
        ("import contracts", ["-c", contracts]),
        ("types", ["-m", "mypy"]),
        ("migrations", ["manage.py", "makemigrations", "--check", "--dry-run"]),
        ("tests", ["-m", "pytest", "-p", "no:cacheprovider", *workers, *arguments]),
    )
    for name, command in steps:
        code = run(*command)
        if code:
            print(f"{name}: failed", file=sys.stderr)
            return code
    return 0


COMMANDS = {
    "install": ("run", lambda more: 0),
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
        prepare(wanted)
        return command(arguments[1:])
    except CannotGoOn as reason:
        print(reason, file=sys.stderr)
        return reason.code
    except KeyboardInterrupt:
        return BROKEN_OFF


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
