"""Takes files of counts from presses that have no network."""

from __future__ import annotations

import argparse
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from .forecast import one_plant


class Command(BaseCommand):
    def __init__(self, *args, **kwargs) -> None:
        from maintenance.counters.files import FORMAT

        super().__init__(*args, **kwargs)
        self.help = f"Read the counter files in a folder, each once; they go to done/ or refused/ there.\n{FORMAT}"

    def create_parser(self, *args, **kwargs):
        return super().create_parser(*args, formatter_class=argparse.RawDescriptionHelpFormatter, **kwargs)

    def add_arguments(self, parser) -> None:
        parser.add_argument("folder", type=Path)
        parser.add_argument("--device", default="counter files", help="In whose name they are kept.")
        parser.add_argument("--plant", metavar="CODE", help="Needed only where there are several plants.")

    def handle(self, *, folder, device, plant, verbosity, **options) -> None:
        from maintenance.counters import files

        if not folder.is_dir():
            raise CommandError(f"There is no folder {folder}.")
        if not 1 <= len(device.strip()) <= 80:
            raise CommandError("The name of a device has 1 to 80 letters.")
        try:
            result = files.take_folder(
                folder, files.device_for_files(one_plant(plant), device.strip())
            )  # fmt: skip
        except OSError as error:
            raise CommandError(f"{folder}: {error.strerror}. Whatever was taken stays; run this again.") from error
        if verbosity:
            self.stdout.write(
                f"{result.files} file{'' if result.files == 1 else 's'}: {result.taken:,} counts taken, "
                f"{result.known:,} already there."
            )
        for name, sentences in result.refused.items():
            self.stderr.write(f"{name} was refused: {sentences[0]}")
        if result.refused:
            raise CommandError(f"{len(result.refused)} refused; see {folder / 'refused'}.")
