"""A backup into an empty database."""

from __future__ import annotations

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from .backup import in_words, teller


class Command(BaseCommand):
    help = (
        "Put a backup into this database, which must be empty, and compare counts and clocks: all of it or nothing. "
        "A backup of one engine goes into the other."
    )
    requires_system_checks = []

    def add_arguments(self, parser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")

    def handle(self, *, file, verbosity, **options) -> None:
        from diestore.service import backup

        try:
            contents = backup.restore(file, tell=teller(self.stderr) if verbosity else None)
        except backup.BackupRefused as reason:
            raise CommandError(str(reason)) from None
        if verbosity:
            self.stdout.write(f"Restored and compared: {in_words(contents)}.")
