"""Which dies go dull more often than their own record led to expect."""

from __future__ import annotations

import json

from django.core.management.base import BaseCommand, CommandError

from .forecast import a_moment, one_plant, teller


class Command(BaseCommand):
    help = (
        "List the dies that went dull more often in the last half year than their record before led to expect. With "
        "--store the flags are kept for the pages, as forecast --store does every night."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--plant", metavar="CODE", help="Needed only where there are several plants.")
        parser.add_argument("--since", metavar="DATE", help="Default: half a year before the last in the records.")
        parser.add_argument("--store", action="store_true", help="Keep the flags for the pages.")
        parser.add_argument("--every", action="store_true", help="List every die, not only those flagged.")
        parser.add_argument("--json", action="store_true", dest="as_json", help="Print plain numbers.")

    def handle(self, *, plant, since, store, every, as_json, verbosity, **options) -> None:
        from maintenance.forecasts import drift

        try:
            held = drift.compute(
                one_plant(plant), since=a_moment(since, "--since"), tell=teller(self.stderr) if verbosity else None
            )
        except ValueError as reason:
            raise CommandError(f"Not enough records: {reason}.") from reason
        if store:
            drift.store(held)
        shown = sorted(held.dies, key=lambda d: d.code) if every else held.flagged
        if as_json:
            rows = [_plain(d) for d in shown]
            figures = {"since": held.since.isoformat(), "as_of": held.as_of.isoformat(), "dies": rows}
            self.stdout.write(json.dumps(figures, indent=1))
            return
        day = f"{held.since:%d %b %Y}".lstrip("0")
        count = len(held.flagged)
        self.stdout.write(
            f"{count or 'No'} {'die goes' if count == 1 else 'dies go' if count else 'die goes'} dull more often since "
            f"{day} than before; {len(held.dies)} looked at."
        )
        for d in shown:
            if d.drift is None:
                self.stdout.write(f"  {d.code:16}{d.refusal}")
                continue
            mark = "flagged" if d.flagged else ""
            self.stdout.write(
                f"  {d.code:16}{d.drift.dull_ends:>4} dull edges where {d.drift.expected:.1f} were expected; "
                f"luck alone: {_luck(d.drift.chance)}   {mark}".rstrip()
            )


def _plain(d) -> dict:
    figures = {"die": d.code, "flagged": d.flagged, "refusal": d.refusal}
    if d.drift is None:
        return figures
    return figures | {"dull_ends": d.drift.dull_ends, "expected": d.drift.expected, "chance": d.drift.chance}


def _luck(chance: float) -> str:
    from maintenance.wording import odds

    if chance < 1e-4:
        return "less than 1 in 10,000"
    return f"1 in {1 / chance:,.0f}" if chance < 0.007 else odds.chance(chance)
