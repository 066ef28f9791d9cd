"""Everything into one file, while people work."""

from __future__ import annotations

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Write the whole database into one file, as it stands at one moment, while people work."

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "file",
            type=Path,
            metavar="FILE",
            help="A new file, or a folder: then the file in it has the time in its name.",
        )
        parser.add_argument(
            "--keep", type=int, metavar="N", help="With a folder: of the files written so, keep the newest N."
        )

    def handle(self, *, file, keep, verbosity, **options) -> None:
        from diestore.service import backup

        folder = file if file.is_dir() else None
        if keep is not None and (folder is None or keep < 1):
            raise CommandError("--keep goes with a folder, and keeps one file at least.")
        if folder is not None:
            file = backup.name_in(folder)
        try:
            contents = backup.write(file, tell=teller(self.stderr) if verbosity else None)
        except backup.BackupRefused as reason:
            raise CommandError(str(reason)) from None
        gone = backup.forget_old(folder, keep) if keep is not None else 0
        if verbosity:
            if gone:
                self.stdout.write(f"Older ones deleted: {gone}.")
            self.stdout.write(
                f"{file}: {in_words(contents)}. Keep it like the database: it holds people's names and sign-ins."
            )


SAID = {"clocks": "hit totals"}  # what is compared, as people call it


def in_words(contents) -> str:
    tables = sum(1 for n in contents.rows.values() if n)
    checked = ", ".join(f"{SAID.get(what, what)} of {n:,} dies" for what, n in contents.checked.items())
    return f"{sum(contents.rows.values()):,} rows in {tables} tables; {checked}"


def teller(stream):
    """Progress in words on a terminal; silence in a pipe."""
    return (lambda words: stream.write(f"  {words}")) if sys.stderr.isatty() else None
