"""The tables of a database that has none yet: all at once, as they are today, and not one migration after another.

A migration changes what an older version left; where nothing was left there is nothing to change, and what Django works
out for each of its steps takes most of a first start. What comes out is the same:
`tests/service/test_first_tables.py` makes them both ways and compares every table, column, rule, index and row.
"""

from __future__ import annotations

from django.apps import apps
from django.db import connection, router, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder

LOCK = 7_214_055_118  # any number that nothing else locks by: of two that find no tables one makes them (PostgreSQL)


def make_where_none_are() -> bool:
    """Make all tables, and note every migration as done, in one transaction. False, and nothing is made, where there is
    one of them already or a migration is noted: then it is for the migrations to do."""
    with connection.constraint_checks_disabled(), transaction.atomic():  # off before it begins, as SQLite wants it
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
        executor = MigrationExecutor(connection)
        if executor.loader.applied_migrations:
            return False
        wanted = _models(executor.loader.migrated_apps)
        if {model._meta.db_table for model in wanted} & set(connection.introspection.table_names()):
            return False
        with connection.schema_editor() as editor:
            for model in wanted:
                editor.create_model(model)
        executor.recorder.ensure_schema()
        MigrationRecorder.Migration.objects.bulk_create(
            MigrationRecorder.Migration(app=app, name=name) for app, name in _in_their_order(executor)
        )
    return True


def _models(migrated: set[str]) -> list:
    """Those of all apps that have migrations. They may refer to later ones: references are made last."""
    return [
        model
        for label in sorted(migrated)
        for model in router.get_migratable_models(apps.get_app_config(label), connection.alias)
        if model._meta.can_migrate(connection)
    ]


def _in_their_order(executor: MigrationExecutor) -> list[tuple[str, str]]:
    noted = []
    for migration, _ in executor.migration_plan(executor.loader.graph.leaf_nodes()):
        noted += [*migration.replaces, (migration.app_label, migration.name)]
    return noted
