"""What stands on a die's page: panels that the apps above draw, and buttons to their pages.

Names only, as on the strip at the head of every page, so that nothing below imports what stands above: a panel is
loaded when the first die's page is drawn. Rendered on the server in one answer, so that the page prints whole and works
without script.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html
from django.utils.module_loading import import_string
from django.utils.safestring import SafeString

from diestore.access import plants, roles
from diestore.service.failing import attempt

from .models import Die


@dataclass(frozen=True)
class Panel:
    """draws: the path of a function of a request and a die that gives HTML; nothing where there is nothing to say."""

    draws: str
    permission: str | None = None


@dataclass(frozen=True)
class Act:
    """Something to do about a die, as a button at the head of its page; its address takes the die as ?die=PK.

    of_several: only for who sees several plants. in_address: its address names the die itself.
    """

    label: str
    url_name: str
    permission: str
    of_several: bool = False
    in_address: bool = False

    def address(self, die: Die) -> str:
        return reverse(self.url_name, args=[die.pk]) if self.in_address else f"{reverse(self.url_name)}?die={die.pk}"


PANELS = (
    Panel("maintenance.screens.bench.panel.on_the_bench"),
    Panel("maintenance.screens.die.panels.how_it_stands"),
    Panel("reports.cost.panel.what_it_costs", roles.SEE_COST),
    Panel("maintenance.screens.die.panels.log"),
)
ACTS = (
    Act("Log a run", "maintenance:log_run", roles.LOG_RUN),
    Act("Sharpening", "maintenance:log_sharpening", roles.LOG_SHARPENING),
    Act("Replacement", "maintenance:log_replacement", roles.LOG_REPLACEMENT),
    Act("Stop", "maintenance:log_stop", roles.LOG_STOP),
    Act("Reading", "maintenance:log_reading", roles.LOG_READING),
    Act("Mishap", "maintenance:log_mishap", roles.LOG_MISHAP),
    Act("Set-up", "maintenance:set_up", roles.LOG_RUN, in_address=True),
    Act("Heights", "maintenance:heights", roles.LOG_RUN, in_address=True),
    Act("Set-up sheet", "maintenance:set_up_sheet", roles.LOG_RUN, in_address=True),
    Act("Set in / take out", "maintenance:in_press", roles.LOG_RUN),
    Act("Draw a spare", "maintenance:movement", roles.TAKE_IN_SPARES),
    Act("Bench work", "maintenance:bench_new", roles.LOG_MISHAP),
    Act("Die card", "maintenance:die_card", roles.EDIT_REGISTER, in_address=True),
    Act("Move to another plant", "maintenance:move", roles.EDIT_REGISTER, of_several=True, in_address=True),
)


USED_UP = "reports.spares.used_up.of_die"


def used_up(die: Die) -> dict:
    """Position -> how far the allowance of its piece goes, as purchasing reckons it; nothing where that fails."""
    return attempt(partial(import_string(USED_UP), die), lambda why: {}, what=f"allowances of die {die}")


def panels_for(request: HttpRequest, die: Die) -> list[SafeString | str]:
    """The panels that this person may see, in order, empty ones left out."""
    shown = [panel for panel in PANELS if panel.permission is None or request.user.has_perm(panel.permission)]
    drawn = (
        attempt(partial(import_string(panel.draws), request, die), _broken, what=f"{panel.draws} of die {die}")
        for panel in shown
    )
    return [html for html in drawn if html]


def _broken(why: str) -> SafeString:
    """A panel that cannot be drawn takes the others from nobody."""
    return format_html('<section class="panel"><p class="wrong">{}</p></section>', why)


def acts_for(request: HttpRequest, die: Die) -> list[dict]:
    mine = [act for act in ACTS if request.user.has_perm(act.permission)]
    if not plants.sees_several(request.user, there_are_several=die.is_of_several):
        mine = [act for act in mine if not act.of_several]
    return [{"label": act.label, "url": act.address(die)} for act in mine]
