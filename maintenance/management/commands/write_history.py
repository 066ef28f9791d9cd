"""Write the records as a history folder."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError

from .forecast import one_plant
from .load_history import progress_bar


class Command(BaseCommand):
    help = "Write the records of a plant as a folder of CSV tables. Loading it loses nothing."

    def add_arguments(self, parser) -> None:
        parser.add_argument("folder", metavar="FOLDER")
        parser.add_argument("--plant", metavar="CODE", help="Needed only where there are several plants.")
        parser.add_argument("--overwrite", action="store_true", help="Replace the tables that the folder holds.")

    def handle(self, *, folder, plant, overwrite, verbosity, **options) -> None:
        from maintenance.history.write import FolderTaken, write

        bars = []
        try:
            written = write(
                folder, one_plant(plant), overwrite=overwrite, progress=progress_bar("writing", bars, unit=" files")
            )
        except FolderTaken as error:
            raise CommandError(str(error)) from None
        except OSError as error:
            raise CommandError(f"{str(folder)[:200]} cannot be written: {error.strerror or error}.") from None
        finally:
            for bar in bars:
                bar.close()
        if verbosity:
            for file, rows in written.rows.items():
                self.stdout.write(f"{file}: {rows:,} {'row' if rows == 1 else 'rows'}")
