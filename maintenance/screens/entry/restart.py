"""Starting a die's record anew, as a page."""

from __future__ import annotations

from django.utils.translation import gettext_lazy

from diestore.access import roles

from . import restart_form, views
from .tasks import Task

RESTART = Task(
    "restart", gettext_lazy("Start the record again"), gettext_lazy("when the die wears differently"), roles.RUN_FIT
)


class Restart(views.LogTask):
    task, form_class, template = RESTART, restart_form.RestartForm, "maintenance/screens/entry/restart.html"
