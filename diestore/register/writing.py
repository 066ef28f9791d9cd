"""What every write of the register does: its reason, its moment, the rows' own rules, and the change that says so."""

from __future__ import annotations

import datetime as dt
import re

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from . import amendments
from .amendments import Link
from .models import Amendment

NEVER_SO = "A typing error: was never so"
SLACK = dt.timedelta(minutes=10)  # a clock of a desk may be ahead
LONGEST_REASON = 300


class ChangeRefused(ValueError):
    """A change that cannot be; `field` is where to look. `errors`: of several columns, what is wrong with each."""

    def __init__(self, message: str, *, field: str = "", errors: dict[str, str] | None = None) -> None:
        super().__init__(message)
        self.field = field
        self.errors = errors or ({field: message} if field else {})


class ChangedMeanwhile(ChangeRefused):
    """Somebody else changed the row after it was opened. `since`: his changes, the newest first."""

    def __init__(self, since: list[Amendment]) -> None:
        newest = since[0]
        by = newest.who or "somebody"
        when = day_of(newest.recorded_at)
        super().__init__(
            f"While this was open, {by} changed {newest.called} ({when}). Nothing of yours is lost: look at what "
            "changed, and save again."
        )
        self.since = since


def day_of(moment: dt.datetime) -> str:
    return f"{timezone.localtime(moment):%d %b %Y, %H:%M}".lstrip("0")


def otherwise_by_now(amendment: Amendment, name: str) -> ChangeRefused:
    entry = amendment.fields[name]
    return ChangeRefused(
        f"{amendment.called}: {entry['label']} is no longer {entry['now_read']}; it was loaded or typed otherwise "
        "since. Change it by hand instead.",
        field=name,
    )


def check_not_corrected(amendment: Amendment, name: str, after: Link | None) -> None:
    """A typing error put right in what a change said stands on that change."""
    if (
        after is not None
        and after.amendment.sort == Amendment.Sort.CORRECTED
        and after.since == amendments.moment_of(amendment.fields[name]["at"])
    ):
        raise ChangeRefused(
            f"What this said of the {amendment.fields[name]['label']} was put right as a typing error on "
            f"{day_of(after.amendment.recorded_at)}. Strike that out first."
        )


def reason_of(reason: str, missing: str) -> str:
    reason = " ".join(reason.split())
    if not reason:
        raise ChangeRefused(missing, field="reason")
    if len(reason) > LONGEST_REASON:
        raise ChangeRefused(f"The reason has {len(reason)} characters. Say it in {LONGEST_REASON}.", field="reason")
    return reason


def check_moment(at: dt.datetime) -> None:
    if at > timezone.now() + SLACK:
        raise ChangeRefused(f"{day_of(at)} is still to come. Enter it once it is so.", field="changed_at")


def locked(row: models.Model, opened: int | None) -> models.Model:
    found = type(row)._base_manager.select_for_update().order_by().filter(pk=row.pk).first()
    if found is None:
        raise ChangeRefused(f"{row} is no longer there.")
    if opened is not None:
        since = list(amendments.of_row(found).filter(pk__gt=opened).order_by("-pk"))
        if since:
            raise ChangedMeanwhile(since)
    return found


def kept_of(row: models.Model, name: str, value):
    """A value from a form, as a change keeps it."""
    field = row._meta.get_field(name)
    if field.many_to_many:
        return sorted(getattr(one, "pk", one) for one in value)
    trial = type(row)()
    try:
        if field.is_relation:
            setattr(trial, field.attname, getattr(value, "pk", value))
        else:
            setattr(trial, name, field.to_python(value))
    except ValidationError as error:
        raise ChangeRefused(" ".join(error.messages), field=name) from error
    return amendments.stored(trial, name)


def rewrite(row: models.Model, behind: list[tuple[Link, str, object]]) -> None:
    """What a later change says that it found."""
    for link, name, was in behind:
        entry = link.amendment.fields[name]
        entry["was"], entry["was_read"] = was, amendments.as_read(row, name, was)
        link.amendment.save(update_fields=["fields"])


def entry_of(row: models.Model, name: str, was, now, at: dt.datetime | None) -> dict:
    return {
        "label": amendments.label_of(row, name),
        "was": was,
        "now": now,
        "was_read": amendments.as_read(row, name, was),
        "now_read": amendments.as_read(row, name, now),
        "at": amendments.text_of(at),
    }


_RULES = {  # of the database, in words
    "position_from_before_to": "It would end before it begins.",
    "cut_from_before_to": "It would end before it begins.",
    "cut_has_an_edge": "A cut needs a piece on the punch side or on the die side.",
    "position_wear_limit_whole": "What is measured and its limit belong together: enter both or neither.",
}
_RULE = re.compile(r"Constraint “(\w+)” is violated\.")


def check(row: models.Model) -> None:
    """As the row's own rules say, with a sentence for each column."""
    try:
        row.full_clean()
    except ValidationError as error:
        errors = {name: " ".join(map(_in_words, messages)) for name, messages in error.message_dict.items()}
        first = next(iter(errors))
        label = "" if first == "__all__" else f"{amendments.label_of(row, first)}: "
        raise ChangeRefused(
            f"{label}{errors[first]}", field="" if first == "__all__" else first, errors=errors
        ) from error


def _in_words(message: str) -> str:
    rule = _RULE.fullmatch(message)
    return _RULES.get(rule[1], message) if rule else message


def save(by, row: models.Model, reason: str) -> None:
    row._history_user, row._change_reason = user_of(by), reason[:100]
    row.save()


def write(
    by,
    row: models.Model,
    sort: str,
    at: dt.datetime | None,
    fields: dict,
    reason: str,
    *,
    opened: bool = False,
    kept: dict | None = None,
) -> Amendment:
    return Amendment.objects.create(
        table=amendments.table_of(row),
        row_key=amendments.key_of(row),
        called=_called(row),
        die=amendments.die_of(row),
        plant=amendments.plant_of(row),
        sort=sort,
        at=at,
        fields=fields,
        kept=kept,
        opened_row=opened,
        reason=reason,
        user=user_of(by),
        who=name_of(by),
    )


def _called(row: models.Model) -> str:
    die = amendments.die_of(row)
    return (str(row) if die is None or die == row else f"{row} of {die}")[:200]


def user_of(by):
    return by if getattr(by, "pk", None) else None


def name_of(by) -> str:
    return (by.get_full_name() or by.get_username())[:150] if getattr(by, "pk", None) else ""
