"""Set-ups as they are kept, and what the last one says: plain readings in and out of the stop-block computation."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import asdict, dataclass

from diestore.register.models import Die
from maintenance.models import SetUp
from maintenance.policy.stop_blocks import BlockReading, Closing, StopBlockError, closing

KEPT = ("place", "crushed_mm", "slot_mm", "stand_off_mm", "x_mm", "y_mm")
AT_MOST = 40  # readings of one set-up
FAR_MM = 10_000.0


def kept(readings: Iterable[BlockReading]) -> list[dict]:
    """As they lie in the table."""
    return [
        {name: float(value) if isinstance(value, int | float) else value for name, value in asdict(reading).items()}
        for reading in readings
    ]


def readings_of(row: SetUp) -> list[BlockReading]:
    return [BlockReading(**{name: one.get(name) for name in KEPT}) for one in row.readings]


def cells_of(readings: Sequence[dict]) -> list[str]:
    """As a folder writes them: block|crushed|slot|stand-off|x|y."""
    return ["|".join("" if one[name] is None else str(one[name]) for name in KEPT).rstrip("|") for one in readings]


def of_cells(cells: Sequence[str]) -> list[dict]:
    """Back from a folder. Raises ValueError with a sentence."""
    readings = []
    for cell in cells:
        place, *figures = (part.strip() for part in cell.split("|"))
        try:
            numbers = [float(text) if text else None for text in figures]
        except ValueError:
            numbers = []
        if not place or not 3 <= len(numbers) <= 5 or None in numbers[:3]:
            raise ValueError(
                f"{cell} is no reading: write block|crushed|slot|stand-off, and |x|y where they are known."
            )
        if any(number is not None and not abs(number) <= FAR_MM for number in numbers):
            raise ValueError(f"{cell} holds a figure that cannot be: lengths in mm, {FAR_MM:g} at most.")
        readings.append(BlockReading(**dict(zip(KEPT, [place, *numbers], strict=False))))
    check(readings)
    return kept(readings)


def check(readings: Sequence[BlockReading]) -> None:
    """Raises StopBlockError, a ValueError, for readings that make no set-up."""
    if len(readings) > AT_MOST:
        raise StopBlockError(f"{len(readings)} readings are more than {AT_MOST}: keep those that matter.")
    for reading in readings:
        if len(reading.place) > 40 or "|" in reading.place or ";" in reading.place:
            raise StopBlockError(
                f"Name the place of a reading in 40 letters, without | and ;, not {reading.place[:50]!r}."
            )
        for number in (reading.crushed_mm, reading.slot_mm, reading.stand_off_mm):
            if number > 100:
                raise StopBlockError(
                    f"{number:g} mm at {reading.place} cannot be a crushed piece, a slot or a stand-off."
                )
        for number in (reading.x_mm, reading.y_mm):
            if number is not None and not (math.isfinite(number) and abs(number) <= FAR_MM):
                raise StopBlockError(f"Where {reading.place} lies cannot be {number:g} mm off.")
    closing(readings)


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A set-up with what its readings say, held against the last one before it that was good."""

    row: SetUp
    readings: list[BlockReading]
    closing: Closing


def latest(die: Die, *, count: int) -> list[Standing]:
    """The last set-ups of a die that stand, newest first; each against the last good one before it, however old."""
    standing = SetUp.objects.standing().filter(die=die).order_by("-at", "-pk")
    rows = list(standing.select_related("press", "person")[:count])
    if not rows:
        return []
    listed = [row.pk for row in rows]
    older = list(standing.filter(is_good=True, at__lte=rows[-1].at).exclude(pk__in=listed)[:1])
    shown = []
    for n, row in enumerate(rows):
        readings = readings_of(row)
        good = next((before for before in [*rows[n + 1 :], *older] if before.is_good), None)
        shown.append(
            Standing(row=row, readings=readings, closing=closing(readings, last_good=readings_of(good) if good else ()))
        )
    return shown


def tilted_at(dies: Collection[int]) -> dict[int, list[float]]:
    """Of each die the moments at which it was set up with its corners apart by more than a good set-up's."""
    moments: dict[int, list[float]] = {}
    for row in SetUp.objects.standing().filter(die__in=dies).order_by("at"):
        try:
            level = closing(readings_of(row)).is_level
        except StopBlockError:
            continue
        if not level:
            moments.setdefault(row.die_id, []).append(row.at.timestamp())
    return moments


def latest_of_presses(presses: Collection[int]) -> dict[int, Standing]:
    """The last set-up in each press whose readings lie on a plane; at most a few hundred are looked at."""
    found: dict[int, Standing] = {}
    rows = SetUp.objects.standing().filter(press__in=presses).select_related("die").order_by("-at", "-pk")
    for row in rows[:300]:
        if row.press_id in found:
            continue
        try:
            said = closing(readings_of(row))
        except StopBlockError:
            continue
        if said.tilt is not None:
            found[row.press_id] = Standing(row=row, readings=readings_of(row), closing=said)
    return found
