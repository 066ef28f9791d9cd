"""What would make a die's forecast better: a few steps, each with the page where it is done. Asks no database."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _

from diestore.access import roles

from .state import DieState

AT_MOST = 3
LOOKED = ("sharp", "dull", "chipped", "broken", "galled")
MOSTLY = 0.5  # of the grinds; fewer that say what was found, and it is asked for


@dataclass(frozen=True)
class Step:
    words: str
    url: str = ""


def of(state: DieState, user) -> list[Step]:
    """The steps that this person can take, the one that tells most first."""
    return [step for step in _steps(state, user) if step is not None][:AT_MOST]


def _steps(state: DieState, user):
    die, log = state.die, state.log
    logs, edits = user.has_perm(roles.LOG_SHARPENING), user.has_perm(roles.EDIT_REGISTER)
    if not state.rows:
        return
    if not log.runs and user.has_perm(roles.LOG_RUN):
        yield Step(_("Log its next run: hits say how far its edges are."), _for(die, "maintenance:log_run"))
    ground = [work for work in log.works if work.operation == "ground"]
    looked = [work for work in ground if work.found in LOOKED]
    if logs and log.runs and not ground:
        yield Step(
            _("Log the next sharpening and say what you found: one edge found dull tells more than a hundred runs."),
            _for(die, "maintenance:log_sharpening"),
        )
    elif logs and len(looked) < MOSTLY * len(ground):
        yield Step(
            _("Say what you find at each sharpening: of {ground} edges ground, {looked} say it so far.").format(
                ground=len(ground), looked=len(looked)
            ),
            _for(die, "maintenance:log_sharpening"),
        )
    if edits:
        gaps = [row.position.code for row in state.cutting if row.gap_mm is None]
        steels = [row.position.code for row in state.cutting if row.state.piece is not None and not row.build]
        card = reverse("maintenance:die_card", args=[die.pk])
        if gaps:
            yield Step(_("Enter the gap of {places}.").format(places=_few(gaps)), card)
        if steels:
            yield Step(_("Enter the tool steel of {places}.").format(places=_few(steels)), card)
        if state.order is None:
            yield Step(
                _("Enter its next job: then its chance of finishing is shown here."), reverse("maintenance:jobs_new")
            )


def _for(die, name: str) -> str:
    return f"{reverse(name)}?die={die.pk}"


def _few(codes: list[str]) -> str:
    return ", ".join(codes[:3]) + (" " + _("and {n} more").format(n=len(codes) - 3) if len(codes) > 3 else "")
