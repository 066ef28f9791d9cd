"""Django's own command, which makes the tables of an empty database at once."""

from __future__ import annotations

from django.core.management.commands import migrate
from django.db import DEFAULT_DB_ALIAS

from diestore.service import first_tables


class Command(migrate.Command):
    def handle(self, *args, **options):
        if not any(options[name] for name in NOT_SIMPLY_ALL) and options["database"] == DEFAULT_DB_ALIAS:
            first_tables.make_where_none_are()
        return super().handle(*args, **options)


# Asked for one app, or only to be told something: as Django does it.
NOT_SIMPLY_ALL = ("app_label", "migration_name", "fake", "fake_initial", "plan", "check_unapplied", "prune")
