"""How right past forecasts were: said then, from what was known then, against what came."""

from __future__ import annotations

import json
import sys

from django.core.management.base import BaseCommand, CommandError

from .forecast import a_moment, one_plant


class Command(BaseCommand):
    help = (
        "Forecast the shop again as of eight dates in the last two years, from what was recorded by then, and hold "
        "that against what came. With --store it is kept for the pages; once a week is enough."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--plant", metavar="CODE", help="Needed only where there are several plants.")
        parser.add_argument(
            "--as-of", metavar="DATE", help="What happened up to here; default: the last in the records."
        )
        parser.add_argument("--store", action="store_true", help="Keep it for the pages.")
        parser.add_argument("--json", action="store_true", dest="as_json", help="Print plain numbers.")

    def handle(self, *, plant, as_of, store, as_json, verbosity, **options) -> None:
        from maintenance.forecasts import track_record
        from maintenance.life.record import TooShort
        from maintenance.log import read

        of = one_plant(plant)
        moment = a_moment(as_of, "--as-of") or read.last_moment(of)
        steps = Steps(track_record.ORIGINS + 2, self.stderr) if verbosity else None
        try:
            track = track_record.compute(of, as_of=moment, tell=steps)
        except TooShort as reason:
            if store and moment is not None:
                track_record.store_refusal(of, moment, str(reason))
            raise CommandError(
                f"Too little has happened yet to say how right the forecasts were: {reason}."
            ) from reason
        finally:
            if steps:
                steps.close()
        if store:
            track_record.store(track)
        if as_json:
            figures = track_record.scores(track) | {
                "by_die": track_record.by_die(track),
                "wrong_calls": track_record.wrong_calls(track),
            }
            figures |= {"as_of": track.as_of.isoformat(), "records_hash": track.records_hash}
            self.stdout.write(json.dumps(figures, indent=1))
        else:
            for line in _lines(track_record.scores(track), track_record.wrong_calls(track), track.as_of):
                self.stdout.write(line)


class Steps:
    """What is being done: a bar on a terminal, nothing elsewhere."""

    def __init__(self, number: int, stream) -> None:
        from tqdm import tqdm

        form = "{desc:<48} {bar} {n_fmt} of {total_fmt}, {elapsed}"
        self._bar = tqdm(
            total=number, disable=not sys.stderr.isatty(), file=stream, bar_format=form, leave=False, ncols=96
        )
        self._begun = False

    def __call__(self, words: str) -> None:
        if self._begun:
            self._bar.update()
        self._begun = True
        self._bar.set_description_str(words)

    def close(self) -> None:
        self._bar.close()


def _lines(scores: dict, wrong: list[dict], as_of):
    band, se = 100 * scores["band_80"], 100 * scores["se"]
    n, ended, dies = (scores[name] for name in ("forecasts", "ended", "dies"))
    yield f"What happened up to {as_of:%d %b %Y, %H:%M}: {n:,} forecasts of {dies:,} dies, {ended:,} have ended."
    yield f"Of 100 forecasts 'lasts between A and B, 8 in 10' {band:.0f} held (give or take {se:.0f})."
    if (edges := scores["edges"]) is not None:
        yield (
            f"Of {edges['forecasts']:,} forecasts of single edges: {100 * edges['band_80']:.0f} "
            f"(give or take {100 * edges['se']:.0f})."
        )
    yield "\nForecast dull or chipped by then, and found so:"
    yield "  " + "".join(f"{100 * mark:6.0f} %" for mark in scores["marks"])
    yield "  " + "".join("     – " if w is None else f"{100 * w:6.0f} %" for w in scores["went"])
    yield f"\n{'as of':14}{'intervals':>10}{'dull ends':>11}{'dies':>6}{'within':>8}{'early':>7}{'late':>6}{'open':>6}"
    for row in scores["origins"]:
        counts = (("statements", 6), ("within", 8), ("early", 7), ("late", 6), ("open", 6))
        counts_shown = "".join(f"{row[name]:>{width},g}" for name, width in counts)
        yield f"{row['at'][:10]:14}{row['cycles']:>10,}{row['dull_ends']:>11,}{counts_shown}  {row['refusal']}".rstrip()
    if scores["chances"]:
        yield "\nChance of finishing the job that was open then:"
        yield f"  {'given':14}{'on average':>11}{'jobs':>8}{'finished':>10}{'stopped before':>16}{'finished, %':>13}"
        for c in scores["chances"]:
            held = "–" if c["held"] is None else f"{100 * c['held']:.0f}"
            band = f"{100 * c['low']:.0f} to {100 * c['high']:.0f} %"
            yield (
                f"  {band:14}{100 * c['said']:>9.0f} %{c['statements']:>8,}{c['finished']:>10g}{c['stopped']:>16,}"
                f"{held:>13}"
            )
    for sort, words in (("early", "Dull or chipped earlier than forecast"), ("late", "Lasted longer than forecast")):
        mine = [row for row in wrong if row["sort"] == sort]
        yield f"\n{words}, surely ({len(mine)}; up to about {0.1 * n:.0f} are usual, 1 in 10):"
        for row in mine:
            yield f"  {row['code']:12} {row['origin'][:10]}    forecast {row['low']:,} to {row['high']:,}; {came(row)}"


def came(row: dict) -> str:
    """What came, in words."""
    if row["came_as"] == "sharp":
        if row["running"]:
            return f"still sharp after {row['came_high']:,}"
        return f"{row['position']} renewed still sharp after {row['came_high']:,}"
    return f"{row['position']} {row['came_as']} between {row['came_low']:,} and {row['came_high']:,}"
