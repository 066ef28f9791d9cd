"""Say what is left of every die, from the records alone: refits the fleet and depends on nothing stored."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime

from diestore.register.models import Plant


class Command(BaseCommand):
    help = (
        "Forecast what is left of every die and edge. With --store the fit, the forecasts and the dies that go dull "
        "more often than they did are kept for the pages."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--as-of", metavar="DATE", help="Records up to here; default: the last moment in them.")
        parser.add_argument("--known-at", metavar="DATE", help="As the records were known then.")
        parser.add_argument("--format", choices=["text", "json"], default="text")
        parser.add_argument("--output", metavar="FILE", help="Write here and not to the terminal.")
        parser.add_argument("--plant", metavar="CODE", help="Needed only where there are several plants.")
        parser.add_argument("--store", action="store_true", help="Keep the fit and the forecasts.")

    def handle(self, *, as_of, known_at, format, output, plant, store, verbosity, **options) -> None:
        from maintenance.forecasts import drift, fit
        from maintenance.forecasts import store as forecasts_store

        tell = teller(self.stderr) if verbosity else None
        computed = fit.compute(
            one_plant(plant), as_of=a_moment(as_of, "--as-of"), known_at=a_moment(known_at, "--known-at"), tell=tell
        )
        if store:
            forecasts_store.store(computed)
            if as_of is None and known_at is None:
                drift.store(drift.compute(computed.plant, as_of=computed.as_of, tell=tell))
        as_json = format == "json"
        text = json.dumps(fit.as_json(computed), indent=1) + "\n" if as_json else "".join(_lines(computed))
        if output:
            try:
                Path(output).write_text(text, encoding="utf-8")
            except OSError as error:
                raise CommandError(f"{output} cannot be written: {error.strerror}.") from error
        else:
            self.stdout.write(text, ending="")


def teller(stream):
    """Progress in words on a terminal; silence in a pipe."""
    return (lambda words: stream.write(f"  {words}")) if sys.stderr.isatty() else None


def one_plant(code: str | None) -> Plant:
    plants = list(Plant.objects.all())
    if code:
        for plant in plants:
            if plant.code == code:
                return plant
        raise CommandError(f"There is no plant {code!r}. There are: {', '.join(p.code for p in plants) or 'none'}.")
    if not plants:
        raise CommandError("The register is empty. Load a history folder first: manage.py load_history FOLDER.")
    if len(plants) > 1:
        raise CommandError(f"There are several plants; name one with --plant: {', '.join(p.code for p in plants)}.")
    return plants[0]


def a_moment(text: str | None, option: str) -> dt.datetime | None:
    if not text:
        return None
    try:
        moment = parse_datetime(text)
        if moment is None and (day := parse_date(text)) is not None:
            moment = dt.datetime.combine(day, dt.time(0, 0))
    except ValueError:
        moment = None
    if moment is None:
        raise CommandError(f"{option} {text!r} is not a date. Write 2026-03-31 or 2026-03-31T14:00:00+00:00.")
    return timezone.make_aware(moment) if timezone.is_naive(moment) else moment


def _lines(computed):
    """As the pages print it: what is ahead rounded to what can be known, the hits those of the edge that is named."""
    from maintenance.wording import numbers

    rests = f"rests on {computed.fit.cycles:,} intervals, {computed.fit.dull_ends:,} dull ends"
    yield f"As of {computed.as_of:%d %b %Y, %H:%M}; {rests}.\n"
    yield f"{'die':16}{'hits on it':>12}{'9 in 10 last':>14}{'half last':>14}   limited by\n"
    for outlook in computed.dies:
        if outlook.prediction is None:
            yield f"{outlook.code:16}{next(iter(outlook.refused.values()), 'nothing to forecast')}\n"
            continue
        left = outlook.prediction.remaining
        first, since = outlook.positions[outlook.limiting].code, outlook.on_edge[outlook.limiting]
        yield f"{outlook.code:16}{since:>12,}{numbers.hits(left[0.1]):>14}{numbers.hits(left[0.5]):>14}   {first}\n"
