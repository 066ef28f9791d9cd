"""Everything into one file, while people work."""

from __future__ import annotations

import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = "Write the whole database into one file, as it stands at one moment, while people work."

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE", help="A new file, such as shop-2026-11-25.zip.")

    def handle(self, *, file, verbosity, **options) -> None:
        from diestore.service import backup

        try:
            contents = backup.write(file, tell=teller(self.stderr) if verbosity else None)
        except backup.BackupRefused as reason:
            raise CommandError(str(reason)) from None
        if verbosity:
            self.stdout.write(
                f"{file}: {in_words(contents)}. Keep it like the database: it holds people's names and sign-ins."
            )


def in_words(contents) -> str:
    tables = sum(1 for n in contents.rows.values() if n)
    checked = ", ".join(f"{what} of {n:,} dies" for what, n in contents.checked.items())
    return f"{sum(contents.rows.values()):,} rows in {tables} tables; {checked}"


def teller(stream):
    """Progress in words on a terminal; silence in a pipe."""
    return (lambda words: stream.write(f"  {words}")) if sys.stderr.isatty() else None
