"""The end of a die's life, as a page."""

from __future__ import annotations

from django.utils.translation import gettext_lazy

from diestore.access import roles

from . import retirement_form, views
from .tasks import Task

RETIREMENT = Task(
    "retirement",
    gettext_lazy("End of life"),
    gettext_lazy("scrapped, returned to its owner, sold"),
    roles.EDIT_REGISTER,
)


class Retire(views.LogTask):
    task, form_class, template = RETIREMENT, retirement_form.RetirementForm, "maintenance/screens/entry/retirement.html"
