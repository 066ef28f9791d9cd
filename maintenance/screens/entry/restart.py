"""Starting a die's record anew, as a page."""

from __future__ import annotations

from diestore.access import roles

from . import restart_form, views
from .tasks import Task

RESTART = Task("restart", "Start the record again", "when the die wears differently", roles.RUN_FIT)


class Restart(views.LogTask):
    task, form_class, template = RESTART, restart_form.RestartForm, "maintenance/screens/entry/restart.html"
