"""The tables of an empty database, made at once, are those that all migrations make one after another."""

from __future__ import annotations

import pytest

# In both ways: what the engine itself says of every table, and every row that is there before anybody has typed one.
MADE = """
import re
from django.apps import apps
from django.db import connection
without = lambda name: re.sub("^(fk_|__unnamed_constraint_)[0-9]+", "", name)  # SQLite numbers those without a name
told = {"tables": {}, "rows": {}}
# The key of a table between two others: Django's migrations make it narrower than its models say. Nothing points there.
between = {model._meta.db_table for model in apps.get_models(include_auto_created=True) if model._meta.auto_created}
with connection.cursor() as cursor:
    for table in connection.introspection.get_table_list(cursor):
        columns = connection.introspection.get_table_description(cursor, table.name)
        columns = [c for c in columns if table.name not in between or c.name != "id"]
        rules = connection.introspection.get_constraints(cursor, table.name)
        told["tables"][table.name] = [
            sorted(map(str, columns)),
            sorted(str([without(name), sorted(rule.items())]) for name, rule in rules.items()),
            connection.introspection.get_sequences(cursor, table.name),
        ]
        cursor.execute(f'SELECT count(*) FROM "{table.name}"')
        told["rows"][table.name] = cursor.fetchone()[0]
    if connection.vendor == "postgresql":
        asked = [
            "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
            "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint WHERE conrelid > 0"
            " AND connamespace = 'public'::regnamespace",
            "SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE NOT tgisinternal",
            "SELECT table_name, column_name, data_type, column_default, is_identity, identity_generation,"
            " character_maximum_length FROM information_schema.columns WHERE table_schema = 'public'",
            "SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace",
        ]
    else:
        asked = ["SELECT type, name, tbl_name, sql FROM sqlite_master WHERE type <> 'table'"]
    for question in asked:
        cursor.execute(question)
        rows = [row for row in cursor.fetchall() if row[0] not in between or row[1] != "id"]
        told[question] = sorted([str(value) for value in row] for row in rows)
    cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
    told["noted"] = cursor.fetchall()
from django.contrib.auth.models import Group, Permission
told["may"] = sorted(
    [group.name, *permission.natural_key()] for group in Group.objects.all() for permission in group.permissions.all()
)
told["rights"] = sorted([*permission.natural_key(), permission.name] for permission in Permission.objects.all())
"""
BY_MIGRATIONS = """
from django.core.management import call_command
from django.core.management.commands import migrate
call_command(migrate.Command(), verbosity=0)
"""


def test_tables_made_at_once_are_those_of_all_migrations(site, new_site):
    one_by_one = new_site(bare=True)
    one_by_one.do(BY_MIGRATIONS)
    made, wanted = site.do(MADE), one_by_one.do(MADE)
    assert len(made["tables"]) > 80 and len(made["noted"]) > 60 and made["rights"] and made["may"]
    for table, told in wanted.pop("tables").items():
        assert made["tables"].pop(table) == told, table
    assert made.pop("tables") == {}
    for what, told in wanted.items():
        assert made[what] == told, what


WITHOUT_A_TABLE_OF_ITS_OWN = """
from django.db import connection
from django.core.management import call_command
with connection.cursor() as cursor:
    cursor.execute("CREATE TABLE diestore_die (id integer)")
from diestore.service import first_tables
told = [first_tables.make_where_none_are(), connection.introspection.table_names()]
"""


DIES_BEFORE_THE_NOTE = """
import os
from django.db.migrations.recorder import MigrationRecorder
MigrationRecorder.ensure_schema = lambda self: os._exit(9)
from diestore.service import first_tables
first_tables.make_where_none_are()
"""


def test_cut_off_before_they_are_noted_none_is_there(new_site):
    site = new_site(bare=True)
    assert site.start("-c", f"import django\ndjango.setup()\n{DIES_BEFORE_THE_NOTE}").wait(60) == 9, site.said()
    assert site.do("from django.db import connection; told = connection.introspection.table_names()") == []


@pytest.mark.walk
def test_where_one_of_them_is_there_none_is_made(new_site):
    assert new_site(bare=True).do(WITHOUT_A_TABLE_OF_ITS_OWN) == [False, ["diestore_die"]]


def test_of_two_that_start_at_once_one_makes_the_tables(new_site):
    site = new_site(bare=True)
    lines = "import django, sys\ndjango.setup()\nfrom diestore.service import first_tables\n"
    lines += "sys.exit(0 if first_tables.make_where_none_are() else 3)"
    starts = [site.start("-c", lines) for _ in range(2)]
    assert sorted(start.wait(120) for start in starts) == [0, 3], site.said()
    noted = site.sql("SELECT app, name FROM django_migrations")
    assert len(noted) == len(set(noted)) > 60
