"""Writes of the register. Every change has a date and a reason, and can be struck out: then all is as it was before.

What a cut is from a moment on is a row of its own, since forecasts read it as history; the other tables keep the row as
it is now, and their past in `Amendment`. A change entered late takes its place by its date, not by when it was typed.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

from django.core import serializers
from django.db import IntegrityError, models, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from . import amendments, changes, standing_on, writing
from .cut_rows import OF_THE_LAST_ROW, CutRows
from .models import Amendment, Cut, Die, Output, Piece, Position, Press, Rate, Station, Stock, Variant
from .writing import NEVER_SO, ChangedMeanwhile, ChangeRefused, day_of

__all__ = ["NEVER_SO", "ChangeRefused", "ChangedMeanwhile", "day_of"]  # with the actions below

_UNCHANGED = object()

# Columns that what was counted so far stands on: they are put right as a typing error, or another row is entered.
GUARDED: dict[type[models.Model], tuple[tuple[str, ...], str]] = {
    Position: (
        ("die", "kind", "side", "stroke_share", "variants", "valid_from"),
        "Its runs so far were counted with what stands here. Where that was right, let this position end and enter "
        "another one; where it was never so, say that it was a typing error.",
    ),
    Cut: (
        ("die", "code", "valid_from"),
        "This stays, unless it was a typing error: then say so.",
    ),
    Stock: (
        ("material", "tensile_mpa", "shear_mpa", "thickness_mm"),
        "What has been run on this stock is told by what stands here. Where that was right, enter another stock and "
        "name it at the die; where it was never so, say that it was a typing error.",
    ),
    Piece: (
        ("tool_steel", "hardness_hrc", "opening", "opening_life_hits", "opening_hits_since_sharpening"),
        "A piece of other steel or hardness is another piece: log its replacement. What was never so is put right as "
        "a typing error.",
    ),
    Rate: (
        ("plant", "kind", "valid_from", "amount"),
        "What was paid until now was reckoned with it. Enter another rate with the day from which it holds; what was "
        "never so is put right as a typing error.",
    ),
    Output: (
        ("variant", "part", "parts_per_hit"),
        "The parts made so far were counted with it. Where it was never so, say that it was a typing error.",
    ),
}
NEVER_BY_HAND = ("id", "pin_hash")  # nor kept in any change
MOVED_BY_ITSELF = "A die goes to another plant by a move of its own: its open jobs and the pieces in it go along."


# --- a new row --------------------------------------------------------------------------------------------------------


def enter(
    *,
    by,
    row: models.Model,
    at: dt.datetime | None = None,
    reason: str = "",
    several: Mapping[str, Iterable[int]] | None = None,
) -> Amendment:
    """A row that was not there. at: since when it is so, where that is known. several: rows named in its many-to-many
    columns, by key. The row is saved; the change that says so is returned."""
    with transaction.atomic():
        writing.check(row)
        writing.save(by, row, reason or "Entered")
        for name, keys in (several or {}).items():
            getattr(row, name).set(keys)
        names = [field.name for field in row._meta.concrete_fields if field.name not in NEVER_BY_HAND]
        fields = {
            name: writing.entry_of(row, name, None, amendments.stored(row, name), at)
            for name in (*names, *(several or ()))
            if amendments.stored(row, name) not in (None, "", [])
        }
        made = writing.write(by, row, Amendment.Sort.ENTERED, at, fields, reason)
        changes.tell(row)
    return made


# --- a change, and a typing error put right ---------------------------------------------------------------------------


def amend(
    *,
    by,
    row: models.Model,
    values: Mapping[str, object],
    at: dt.datetime,
    reason: str,
    opened: int | None = None,
    with_the_plant: bool = False,
) -> Amendment:
    """From a moment on a row is otherwise. What it was until then is kept.

    values: by column; of a many-to-many column the keys. opened: `amendments.newest_of` when the form was opened, so
    that a change made meanwhile is not lost. with_the_plant: whoever moves a die sees to what goes along. Raises
    ChangeRefused, ChangedMeanwhile.
    """
    reason = writing.reason_of(reason, "Say why it changed.")
    guarded, sentence = GUARDED.get(type(row), ((), ""))
    with transaction.atomic():
        row = writing.locked(row, opened)
        writing.check_moment(at)
        kept = _differing(row, values, at)
        fixed = [name for name in kept if name in guarded]
        if fixed:
            raise ChangeRefused(sentence, field=fixed[0], errors=dict.fromkeys(fixed, sentence))
        if not kept:
            raise ChangeRefused("Nothing here is other than it was.")
        if not with_the_plant:
            _check_stays(row, kept)
        if isinstance(row, Cut):
            return CutRows(row).amend(by, kept, at, reason)
        past = amendments.standing(row)
        fields, behind = {}, []
        for name, now in kept.items():
            after = next((link for link in amendments.chain(past, name) if link.since > at), None)
            was = after.entry["was"] if after else amendments.stored(row, name)
            fields[name] = writing.entry_of(row, name, was, now, at)
            if after:
                behind.append((after, name, now))
            else:
                amendments.put(row, name, now)
        writing.check(row)
        writing.save(by, row, reason)
        writing.rewrite(row, behind)
        made = writing.write(by, row, Amendment.Sort.CHANGED, at, fields, reason)
        changes.tell(row)
    return made


def correct(
    *, by, row: models.Model, values: Mapping[str, object], reason: str = NEVER_SO, opened: int | None = None
) -> Amendment:
    """What stands there was never so: it is put right for as long as it stands there, with a trace."""
    reason = writing.reason_of(reason, "Say what was wrong.")
    with transaction.atomic():
        row = writing.locked(row, opened)
        kept = _differing(row, values, None)
        if not kept:
            raise ChangeRefused("Nothing here is other than it was.")
        _check_stays(row, kept)
        if isinstance(row, Cut):
            return CutRows(row).correct(by, kept, reason)
        past = amendments.standing(row)
        fields = {}
        for name, now in kept.items():
            links = amendments.chain(past, name)
            since = links[-1].since if links else None
            fields[name] = writing.entry_of(row, name, amendments.stored(row, name), now, since)
            amendments.put(row, name, now)
        writing.check(row)
        writing.save(by, row, NEVER_SO if reason == NEVER_SO else f"{NEVER_SO}: {reason}")
        made = writing.write(by, row, Amendment.Sort.CORRECTED, None, fields, reason)
        changes.tell(row)
    return made


def change_cut(
    *,
    by,
    cut: Cut,
    at: dt.datetime,
    gap_mm: float | None = _UNCHANGED,
    length_mm: float = _UNCHANGED,
    upper: Position | None = _UNCHANGED,
    lower: Position | None = _UNCHANGED,
    reason: str = "",
) -> Cut:
    """From a moment on the cut as it stands now is otherwise. Returns the row that holds from then on."""
    new = {"gap_mm": gap_mm, "length_mm": length_mm, "upper": upper, "lower": lower}
    new = {name: value for name, value in new.items() if value is not _UNCHANGED}
    with transaction.atomic():
        before = Cut.objects.select_for_update().get(pk=cut.pk)
        check_change(before, at)
        amend(by=by, row=before, values=new, at=at, reason=reason or f"Otherwise since {day_of(at)}")
    return Cut.objects.get(die=before.die_id, code=before.code, valid_from=at)


def check_change(cut: Cut, at: dt.datetime) -> None:
    """Whether this row of a cut can be otherwise from a moment on."""
    if cut.valid_to is not None and cut.valid_to <= timezone.now():
        raise ChangeRefused(
            f"This is how {cut.code} was until {day_of(cut.valid_to)}. Change the row that holds now, or say that "
            "this one was a typing error."
        )
    writing.check_moment(at)
    if cut.valid_from is not None and at <= cut.valid_from:
        raise ChangeRefused(
            f"{cut.code} stands so since {day_of(cut.valid_from)} only. Enter a later moment, or say that it was a "
            "typing error.",
            field="changed_at",
        )


def correct_cut(*, by, cut: Cut) -> None:
    """Put a row right that was typed wrong: `cut` carries what should have stood there."""
    names = ("code", "upper", "lower", "length_mm", "gap_mm", "valid_from", "valid_to")
    correct(by=by, row=Cut.objects.get(pk=cut.pk), values={name: getattr(cut, name) for name in names})


# --- out of use, and back ---------------------------------------------------------------------------------------------


def retire(*, by, row: models.Model, at: dt.datetime, reason: str, opened: int | None = None) -> Amendment:
    """It is no longer used from then on, and no longer offered. What was logged of it stays."""
    name, value = _out_of_use(row, at)
    return _set_use(by, row, {name: value}, at, reason, opened, Amendment.Sort.RETIRED)


def restore(*, by, row: models.Model, at: dt.datetime, reason: str, opened: int | None = None) -> Amendment:
    """It is used again from then on."""
    name, value = _in_use(row)
    return _set_use(by, row, {name: value}, at, reason, opened, Amendment.Sort.RESTORED)


def is_retired(row: models.Model) -> bool:
    name, value = _in_use(row)
    if isinstance(row, Die):
        return row.status == Die.Status.RETIRED
    return getattr(row, name) != value


def _out_of_use(row: models.Model, at: dt.datetime) -> tuple[str, object]:
    if isinstance(row, Die):
        return "status", Die.Status.RETIRED
    for name in ("valid_to", "retired_at", "closed_at"):
        if _has(row, name):
            return name, at
    if _has(row, "active"):
        return "active", False
    raise ChangeRefused(f"A {row._meta.verbose_name} goes with what it belongs to: it is not retired by itself.")


def _in_use(row: models.Model) -> tuple[str, object]:
    if isinstance(row, Die):
        return "status", Die.Status.IN_SERVICE
    return ("active", True) if _has(row, "active") else (_out_of_use(row, timezone.now())[0], None)


def _set_use(by, row, values, at, reason, opened, sort) -> Amendment:
    made = amend(by=by, row=row, values=values, at=at, reason=reason, opened=opened)
    made.sort = sort
    made.save(update_fields=["sort"])
    return made


def _has(row: models.Model, name: str) -> bool:
    return any(field.name == name for field in row._meta.concrete_fields)


# --- struck out -------------------------------------------------------------------------------------------------------


def take_back(*, by, amendment: Amendment, reason: str) -> Amendment:
    """Strike a change out: what it changed is as it was before, and what was changed after it stays."""
    reason = writing.reason_of(reason, "Say why it is struck out.")
    with transaction.atomic():
        amendment = Amendment.objects.select_for_update().get(pk=amendment.pk)
        if amendment.is_struck:
            raise ChangeRefused(f"This is struck out since {day_of(amendment.struck_at)} already.")
        if amendment.table == amendments.table_of(Die) and amendment.sort != Amendment.Sort.ENTERED:
            _check_moved_back(amendment)
        model = standing_on.model_of(amendment.table)
        gone = amendment.sort in (Amendment.Sort.MERGED, Amendment.Sort.DELETED)
        if gone and "rows" not in (amendment.kept or {}):
            raise ChangeRefused(
                f"This came with a history folder, which does not hold what went: enter {amendment.called} anew."
                if amendment.sort == Amendment.Sort.DELETED
                else "This came with a history folder, which does not hold the duplicate that went: enter it anew."
            )
        if amendment.sort == Amendment.Sort.MERGED:
            rows = _part_again(amendment)
        elif amendment.sort == Amendment.Sort.DELETED:
            rows = _bring_back(amendment)
        else:
            row = model._base_manager.select_for_update().order_by().filter(pk=amendment.row_key).first()
            if row is None:
                raise ChangeRefused(f"{amendment.called} is no longer there, so this change has nothing to undo.")
            rows = [row]
            if amendment.sort == Amendment.Sort.ENTERED:
                _take_entry_back(row, amendment)
            elif isinstance(row, Cut):
                rows = CutRows(row).take_back(by, amendment, reason)
            else:
                along = amendments.along_with(amendment)
                _take_row_back(by, row, amendment, reason)
                for one in along:
                    take_back(by=by, amendment=one, reason=reason)
        amendment.struck_at, amendment.struck_by, amendment.struck_who = (
            timezone.now(),
            writing.user_of(by),
            writing.name_of(by),
        )
        amendment.struck_reason = reason
        amendment.save()
        if amendment.sort != Amendment.Sort.ENTERED:
            changes.tell(*rows)
    return amendment


def _take_row_back(by, row: models.Model, amendment: Amendment, reason: str) -> None:
    past = amendments.standing(row)
    behind = []
    for name, entry in amendment.fields.items():
        links = amendments.chain(past, name)
        mine = next(i for i, link in enumerate(links) if link.amendment.pk == amendment.pk)
        after = links[mine + 1] if mine + 1 < len(links) else None
        writing.check_not_corrected(amendment, name, after)
        if after is not None:
            behind.append((after, name, entry["was"]))
        elif amendments.stored(row, name) != entry["now"]:
            raise writing.otherwise_by_now(amendment, name)
        else:
            amendments.put(row, name, entry["was"])
    writing.check(row)
    writing.save(by, row, f"Struck out: {reason}"[:100])
    writing.rewrite(row, behind)
    if isinstance(row, Station) and "sequence" in amendment.fields:
        _number_again(row)


def _number_again(station: Station) -> None:
    """A station that is back where it stood moves the others along."""
    others = list(station.die.stations.select_for_update().exclude(pk=station.pk).order_by("sequence", "pk"))
    others.insert(station.sequence - 1, station)
    for number, one in enumerate(others, 1):
        if one.sequence != number:
            type(one).objects.filter(pk=one.pk).update(sequence=number)


def _take_entry_back(row: models.Model, amendment: Amendment) -> None:
    later = [a for a in amendments.standing(row) if a.pk != amendment.pk]
    if later:
        raise ChangeRefused(
            f"{amendment.called} was changed since, last on {day_of(later[-1].recorded_at)}. Strike that out first."
        )
    changes.tell(row)
    _remove(row)


# --- duplicates and mistakes ------------------------------------------------------------------------------------------


def merge(*, by, row: models.Model, into: models.Model, reason: str) -> Amendment:
    """Two rows are one thing entered twice: what stood on `row` stands on `into` from now on, and `row` goes."""
    reason = writing.reason_of(reason, "Say how it came that it was entered twice.")
    if type(row) is not type(into) or row.pk == into.pk:
        raise ChangeRefused("Pick another one of the same kind to join it to.")
    if isinstance(row, (Die, Position, Cut, Station, Variant, Piece)):
        raise ChangeRefused(
            f"A {row._meta.verbose_name} has a past of its own, which cannot be added to another's. Retire the one "
            "that is wrong."
        )
    if isinstance(row, Press) and row.plant_id != into.plant_id:
        raise ChangeRefused("These stand in two plants. Move one first.")
    with transaction.atomic():
        keys = sorted((row.pk, into.pk))
        found = {r.pk: r for r in type(row)._base_manager.select_for_update().order_by().filter(pk__in=keys)}
        if len(found) < 2:
            raise ChangeRefused("One of the two is no longer there.")
        row, into = found[row.pk], found[into.pk]
        changes.tell(row, into)
        kept = {"rows": serializers.serialize("json", [row]), "moved": []}
        try:
            with transaction.atomic():
                kept["moved"] = standing_on.move(row, into)
                row.delete()
        except (IntegrityError, ProtectedError) as error:
            raise ChangeRefused(
                f"{row} and {into} both have the same under them, so they cannot be joined: take it from one first."
            ) from error
        kept["called"] = str(row)
        made = writing.write(by, into, Amendment.Sort.MERGED, timezone.now(), {}, reason, kept=kept)
        changes.tell(into)
    return made


def _part_again(amendment: Amendment) -> list[models.Model]:
    rows = _bring_back(amendment)
    standing_on.move_back(amendment.kept["moved"], rows[0])
    into = standing_on.model_of(amendment.table)._base_manager.filter(pk=amendment.row_key).first()
    return [*rows, *([into] if into else [])]


def delete(*, by, row: models.Model, reason: str) -> Amendment:
    """What was entered by mistake goes, with all that belongs to it. Nothing with a log is deleted."""
    reason = writing.reason_of(reason, "Say why it goes.")
    with transaction.atomic():
        row = type(row)._base_manager.select_for_update().order_by().filter(pk=row.pk).first()
        if row is None:
            raise ChangeRefused("It is no longer there.")
        die = None if isinstance(row, Die) else amendments.die_of(row)
        rows = _with_parts(row)
        kept = {"rows": serializers.serialize("json", [*reversed(rows)]), "let_go": standing_on.let_go(row)}
        made = Amendment(
            table=amendments.table_of(row),
            row_key=amendments.key_of(row),
            called=str(row)[:200],
            die=die,
            plant=amendments.plant_of(row) if amendments.table_of(row) != "diestore.plant" else None,
            sort=Amendment.Sort.DELETED,
            at=timezone.now(),
            kept=kept,
            reason=reason,
            user=writing.user_of(by),
            who=writing.name_of(by),
        )
        changes.tell(row)
        _remove(row)
        made.save()
    return made


def _with_parts(row: models.Model) -> list[models.Model]:
    """What goes with it, what hangs on others first, itself last."""
    if isinstance(row, Cut):
        return amendments.rows_of_cut(row)
    if not isinstance(row, Die):
        return [row]
    return [
        *Cut.objects.filter(die=row),
        *Position.objects.filter(die=row),
        *Station.objects.filter(die=row),
        *Output.objects.filter(variant__die=row),
        *Variant.objects.filter(die=row),
        row,
    ]


def _remove(row: models.Model) -> None:
    try:
        with transaction.atomic():
            for one in _with_parts(row):
                one.delete()
    except (ProtectedError, TypeError) as error:
        stands = getattr(error, "protected_objects", ())
        raise ChangeRefused(
            f"{row} stays: {standing_on.in_words(stands)} {'stand' if len(stands) != 1 else 'stands'} on it. "
            f"{_instead(row)}"
        ) from error


def _instead(row: models.Model) -> str:
    try:
        _in_use(row)
    except ChangeRefused:
        return "Put it right instead, as a typing error."
    return "Retire it instead: then it is no longer offered, and what was logged stays."


def _bring_back(amendment: Amendment) -> list[models.Model]:
    made = []
    try:
        with transaction.atomic():
            for one in serializers.deserialize("json", amendment.kept["rows"]):
                if type(one.object)._base_manager.filter(pk=one.object.pk).exists():
                    raise IntegrityError("its key is taken")
                one.save()
                made.append(one.object)
    except IntegrityError as error:
        raise ChangeRefused(
            f"{amendment.called} cannot come back: another one is called like it by now. Rename that one first."
        ) from error
    standing_on.move_back(amendment.kept.get("let_go", ()), made[0])
    return made


def _check_moved_back(amendment: Amendment) -> None:
    if "plant" in amendment.fields and amendment.sort == Amendment.Sort.CHANGED:
        raise ChangeRefused("Move the die back instead: its open jobs and its pieces come along then.")


def _check_stays(row: models.Model, kept: Mapping[str, object]) -> None:
    if isinstance(row, Die) and "plant" in kept:
        raise ChangeRefused(MOVED_BY_ITSELF, field="plant")


def _differing(row: models.Model, values: Mapping[str, object], at: dt.datetime | None) -> dict[str, object]:
    """What would be otherwise, as it is kept: from a moment on, or as it stands there now."""
    past = amendments.standing(row) if at is not None and not isinstance(row, Cut) else []
    holding = CutRows(row).at(at) if isinstance(row, Cut) and at is not None and set(values) - {"valid_to"} else row
    kept = {}
    for name, value in values.items():
        if name in NEVER_BY_HAND:
            raise ChangeRefused("This is not typed.", field=name)
        now = writing.kept_of(row, name, value)
        after = next((link for link in amendments.chain(past, name) if at is not None and link.since > at), None)
        was = after.entry["was"] if after else amendments.stored(row if name in OF_THE_LAST_ROW else holding, name)
        if now != was:
            kept[name] = now
    return kept
