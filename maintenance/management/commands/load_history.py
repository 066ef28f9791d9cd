"""Load a history folder into the records."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError

DOUBTS_SHOWN = 40


class Command(BaseCommand):
    help = "Load a folder of CSV tables into the records: all of it or nothing. The same folder again adds nothing."

    def add_arguments(self, parser) -> None:
        parser.add_argument("folder", metavar="FOLDER")
        parser.add_argument("--plant", metavar="CODE", help="The plant it is of; made where there is none.")
        parser.add_argument(
            "--allow-future", action="store_true", help="Take times that are later than this machine's clock."
        )

        parser.add_argument(
            "--dry-run",
            action="store_true",
            help="Look at everything, say what would come and what is doubtful, save nothing.",
        )

    def handle(self, *, folder, plant, allow_future, dry_run, verbosity, **options) -> None:
        from diestore.service import queue
        from maintenance import tasks
        from maintenance.history.problems import HistoryRefused

        bars = []
        try:
            loaded = tasks.load_records(
                folder, plant=plant, allow_future=allow_future, progress=progress_bar("loading", bars), dry_run=dry_run
            )
        except HistoryRefused as error:
            raise CommandError(str(error)) from None
        finally:
            for bar in bars:
                bar.close()
        added = any(loaded.counts.added.values())
        if not verbosity:
            return
        self._say(loaded)
        for word, counter in (
            ("Added", loaded.counts.added),
            ("Changed", loaded.counts.changed),
            ("Struck out", loaded.counts.struck),
            ("Already there", loaded.counts.stood),
        ):
            counted = ", ".join(f"{what} {n:,}" for what, n in counter.items() if n)
            if counted:
                self.stdout.write(f"{word}: {counted}.")
        if dry_run:
            self.stdout.write("This was a dry run: nothing was saved.")
        elif not added:
            self.stdout.write("Nothing was added.")
        elif queue.is_worked() or queue.alive().exists():
            self.stdout.write("The forecasts are left to the workers.")
        else:
            self.stdout.write("The forecasts follow with the night's work: `manage.py nightly` does it now.")

    def _say(self, loaded) -> None:
        for note in loaded.notes:
            self.stdout.write(note)
        if loaded.doubts:
            self.stdout.write(f"Doubtful, {len(loaded.doubts):,} in all:")
        for doubt in loaded.doubts[:DOUBTS_SHOWN]:
            self.stdout.write(f"  {doubt}")
        if len(loaded.doubts) > DOUBTS_SHOWN:
            self.stdout.write(f"  and {len(loaded.doubts) - DOUBTS_SHOWN:,} more")


def progress_bar(what: str, bars: list, unit: str = "B"):
    """A bar on the error stream of a terminal, once the work takes over two seconds. It is put into `bars`."""

    def begin(total: int):
        from tqdm import tqdm

        bar = tqdm(total=total, desc=what, delay=2, disable=None, unit=unit, unit_scale=unit == "B", leave=False)
        bars.append(bar)
        return bar.update

    return begin
