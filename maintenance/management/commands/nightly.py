"""What is done once a night, for cron."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Count what the presses sent last, fit the fleet, forecast every die, lay out the bench where work is late, "
        "keep the cost sheets of large shops, once a week look back on how right it was, give back what dead workers "
        "left, forget old tasks and sessions. "
        "It goes through the queue and works it too, so it needs no worker; where workers run, they share the work."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--only-plan", action="store_true", help="Put it into the queue and leave it to workers.")

    def handle(self, *, only_plan, verbosity, **options) -> None:
        from diestore.service import queue
        from maintenance import night, tasks

        planned = night.plan()
        if verbosity:
            names = ", ".join(p.code for p in planned.plants) or "none yet"
            self.stdout.write(f"Planned for the plants: {names}.")
            if planned.reaped.waiting or planned.reaped.failed:
                self.stdout.write(
                    f"Of workers that died: {planned.reaped.waiting} tasks wait again, "
                    f"{planned.reaped.failed} are given up."
                )
            if planned.forgotten:
                self.stdout.write(f"Forgotten: {planned.forgotten} tasks done more than {queue.KEPT_DAYS} days ago.")
        if only_plan:
            return
        known = set(queue.failed().values_list("pk", flat=True))
        queue.Worker().work(until=lambda: not queue.unfinished().filter(priority=tasks.NIGHTLY).exists())
        new = [row for row in queue.failed() if row.pk not in known]
        for row in new:
            self.stderr.write(f"{queue.name_of(row)} failed: {queue.why_failed(row)}")
        if new:
            raise CommandError(f"{len(new)} of the tasks failed.")
        if verbosity:
            self.stdout.write("Done.")
