"""A PostgreSQL server of a test's own, that may be crashed: on a socket in a folder, run by a user who is not root."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path


def binaries() -> Path | None:
    """The folder of initdb and pg_ctl, the newest; None where there is no server to start."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    there = shutil.which("initdb")
    return Path(there).parent if there else None


class OwnServer:
    """folder: it and those above must let other users in, where root starts it."""

    def __init__(self, folder: Path, name: str = "first", port: int = 5432) -> None:
        self.folder, self.data, self.port = folder, folder / name, port
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
            folder.chmod(0o755)

    @property
    def address(self) -> str:
        return f"postgresql://tester@/postgres?host={self.folder}&port={self.port}"

    def make(self) -> None:
        self.run("initdb", "-D", str(self.data), "-U", "tester", "-A", "trust", "-E", "UTF8")

    def start(self) -> None:
        options = f"-c listen_addresses= -c unix_socket_directories={self.folder} -c port={self.port}"
        log = str(self.data.with_suffix(".log"))
        self.run("pg_ctl", "-D", str(self.data), "-w", "start", "-l", log, "-o", options)

    def crash(self) -> None:
        """As where the power goes: nothing is written any more, and the next start recovers from the log."""
        self.run("pg_ctl", "-D", str(self.data), "-m", "immediate", "-w", "stop")

    def run(self, program: str, *words: str) -> None:
        as_server = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        command = [*as_server, str(binaries() / program), *words]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=self.folder)
