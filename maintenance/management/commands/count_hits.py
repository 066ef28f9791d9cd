"""Counts what waits: for cron, where nobody looks at the pages and no message comes."""

from __future__ import annotations

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = (
        "Count what the presses sent and what is not counted yet. Messages have it done every five minutes, and the "
        "page of the counters has a button for it; run this from cron so that the last minutes before a silence are "
        "counted too."
    )

    def handle(self, *, verbosity, **options) -> None:
        from maintenance.counters import settle

        changed = settle.settle_waiting()
        if verbosity:
            self.stdout.write(
                f"The hits of {len(changed)} die{'' if len(changed) == 1 else 's'} changed."
                if changed
                else "No die's hits changed."
            )
