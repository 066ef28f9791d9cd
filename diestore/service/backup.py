"""The whole database in one file, and back into an empty database on either engine.

The file is a zip: `manifest.json`, one `tables/NAME.jsonl` a table (a line a row, values in the order of the manifest's
columns), and the figures that are checked after restoring. It is read from one moment while people work on, and it
takes little memory however long the record is.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import json
import lzma
import os
import re
import secrets
import struct
import uuid
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone
from django.utils.module_loading import import_string

from . import first_tables

FORMAT = 1
ROWS_AT_ONCE = 1_000
LARGE_ROWS_AT_ONCE = 20  # of a table that holds pictures or spreadsheets

# Left out: who is signed in now, which workers are alive, which hosts serve it. Made by `migrate` itself, so they may
# be there already.
LEFT_OUT = {"sessions.session", "diestore.taskworker", "diestore.host"}
MADE_BY_MIGRATE = {"contenttypes.contenttype", "auth.permission", "auth.group", "auth.group_permissions"}

# Name -> what gives lines of (what, figure), by its path, as nothing here imports the apps above. Taken with the
# backup, and again before a restore is kept.
CHECKS = {"clocks": "maintenance.forecasts.service.clocks"}

Tell = Callable[[str], None]


# What reading a file comes to that is no backup, or one that somebody has changed.
NOT_WHOLE = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, ValueError, TypeError, AttributeError, LookupError,
    ArithmeticError, RuntimeError, ValidationError, FieldDoesNotExist, struct.error, MemoryError,
)  # fmt: skip


class BackupRefused(Exception):
    """Why it cannot be done, in a sentence; then nothing was changed."""


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What is in a backup: rows of each table, figures compared."""

    rows: dict[str, int]
    checked: dict[str, int]


# -- out --


NAMED = "diestore-%Y-%m-%d-%H%M%S.zip"
OF_THAT_NAME = re.compile(r"diestore-[0-9]{4}(-[0-9]{2}){2}-[0-9]{6}\.zip")


def name_in(folder: Path) -> Path:
    """A new file in a folder, named by the shop's clock."""
    return folder / timezone.localtime().strftime(NAMED)


def forget_old(folder: Path, keep: int) -> int:
    """Take away all but the newest of the files that `name_in` named. Returns how many went."""
    ours = sorted(path for path in folder.iterdir() if OF_THAT_NAME.fullmatch(path.name) and path.is_file())
    for path in ours[:-keep]:
        path.unlink()
    return len(ours[:-keep])


def write(path: Path, *, tell: Tell | None = None) -> Contents:
    """Write everything into a new file, as it stands at one moment. Raises BackupRefused."""
    tell = tell or (lambda words: None)
    try:
        is_there = path.exists()
    except OSError as error:
        raise BackupRefused(f"{_short(path)} cannot be written: {error.strerror or error}.") from error
    if is_there:
        raise BackupRefused(f"{path} is there already. Name another file.")
    part = path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")
    try:
        with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600), "w+b") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive, _one_moment():
                contents = _write(archive, tell)
            file.flush()
            os.fsync(file.fileno())
        _put(part, path)
    except FileExistsError as error:
        raise BackupRefused(f"{path} was made by another meanwhile. That one stays; name another file.") from error
    except OSError as error:
        raise BackupRefused(f"{_short(path)} cannot be written: {error.strerror or error}.") from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return contents


def _put(part: Path, path: Path) -> None:
    """The file to its name; never over another one."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if path.exists():
            raise FileExistsError(path) from None
        os.replace(part, path)


def _short(path: Path) -> str:
    return str(path) if len(str(path)) <= 200 else f"{str(path)[:200]}..."


def _write(archive: zipfile.ZipFile, tell: Tell) -> Contents:
    executor = MigrationExecutor(connection)
    applied = _applied(executor)
    is_current = applied == set(executor.loader.graph.nodes)
    if not applied:
        raise BackupRefused("There are no tables in this database yet.")
    manifest = {
        "format": FORMAT,
        "made_at": timezone.now().isoformat(),
        "database": connection.vendor,
        "migrations": sorted(map(list, applied)),
        "tables": [],
        "checks": {},
    }
    # before a new version's migrations are run, the tables are those of the old one
    for model in _models(apps if is_current else executor.loader.project_state(_leaves(executor, applied)).apps):
        tell(model._meta.label)
        fields = model._meta.concrete_fields
        # past managers of its own, which may hide some
        rows = models.QuerySet(model).values_list(*(f.attname for f in fields)).order_by("pk")
        lines = (_encode(list(row)) for row in rows.iterator(chunk_size=_at_once(fields)))
        count, digest = _write_lines(archive, _member(model._meta.label_lower), lines)
        manifest["tables"].append(
            {
                "name": model._meta.label_lower,
                "columns": [f.attname for f in fields],
                "rows": count,
                "sha256": digest,
            }
        )
    for name in CHECKS if is_current else ():
        tell(name)
        count, digest = _write_lines(archive, f"checks/{name}.jsonl", (_encode(list(line)) for line in _figures(name)))
        manifest["checks"][name] = {"lines": count, "sha256": digest}
    archive.writestr("manifest.json", json.dumps(manifest, indent=1))
    return _contents(manifest)


def _write_lines(archive: zipfile.ZipFile, member: str, lines: Iterable[str]) -> tuple[int, str]:
    count, digest = 0, hashlib.sha256()
    with archive.open(member, "w", force_zip64=True) as out:
        for line in lines:
            data = line.encode() + b"\n"
            digest.update(data)
            out.write(data)
            count += 1
    return count, digest.hexdigest()


def _member(name: str) -> str:
    return f"tables/{name}.jsonl"


def _contents(manifest: dict) -> Contents:
    return Contents(
        rows={table["name"]: table["rows"] for table in manifest["tables"]},
        checked={name: check["lines"] for name, check in manifest["checks"].items()},
    )


@contextmanager
def _one_moment() -> Iterator[None]:
    """A transaction that sees the database as it was when it began, and holds nobody up."""
    if connection.in_atomic_block:  # inside somebody else's transaction there is no choice
        yield
        return
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        before, connection.transaction_mode = connection.transaction_mode, "DEFERRED"
        try:
            with transaction.atomic():
                yield
        finally:
            connection.transaction_mode = before
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def _models(registry) -> list[type[models.Model]]:
    """The models whose tables are carried, in the order of their names."""
    by_label = {
        model._meta.label_lower: model
        for model in registry.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.label_lower not in LEFT_OUT
    }
    return [by_label[name] for name in sorted(by_label)]


def _applied(executor: MigrationExecutor) -> set[tuple[str, str]]:
    return set(executor.loader.applied_migrations) & set(executor.loader.graph.nodes)


def _leaves(executor: MigrationExecutor, nodes: set[tuple[str, str]]) -> list[tuple[str, str]]:
    """Of the migrations given the last of each app."""
    node_map = executor.loader.graph.node_map
    return [
        node
        for node in nodes
        if not any(child.key in nodes and child.key[0] == node[0] for child in node_map[node].children)
    ]


def _figures(name: str) -> Iterable[tuple[str, object]]:
    return import_string(CHECKS[name])()


def _at_once(fields: Iterable[models.Field]) -> int:
    """How many rows of a table are in memory together."""
    return LARGE_ROWS_AT_ONCE if any(isinstance(f, models.BinaryField) for f in fields) else ROWS_AT_ONCE


def _plain(value: object) -> object:
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, (Decimal, uuid.UUID)):
        return str(value)
    if isinstance(value, dt.timedelta):
        return value / dt.timedelta(microseconds=1)
    if isinstance(value, (bytes, memoryview)):
        return base64.b64encode(bytes(value)).decode()
    raise TypeError(f"{type(value).__name__} has no place in a backup")


_encode = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False, default=_plain).encode


# -- and back --


def restore(path: Path, *, tell: Tell | None = None) -> Contents:
    """Put a backup into this database, which must be empty, and compare counts and clocks. All of it or nothing.

    Raises BackupRefused.
    """
    tell = tell or (lambda words: None)
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest(archive)
            registry, is_current = _get_ready(manifest)
            _check_empty(registry)
            with transaction.atomic():
                _fill(archive, manifest, registry, tell)
                ContentType.objects.clear_cache()
                if is_current:
                    _compare(archive, manifest, tell)
    except OSError as error:
        raise BackupRefused(f"{_short(path)} cannot be read: {error.strerror or error}.") from error
    except NOT_WHOLE as error:
        reason = f"{type(error).__name__}: {error}"[:300]
        raise BackupRefused(f"{path} is no whole backup: {reason}. Nothing was restored.") from error
    except DatabaseError as error:
        reason = (str(error).splitlines() or [type(error).__name__])[0]
        raise BackupRefused(f"The database refuses this backup: {reason}. Nothing was restored.") from error
    ContentType.objects.clear_cache()
    call_command("migrate", verbosity=0, interactive=False)  # rules, groups, and what is newer than the backup
    if not is_current:
        with zipfile.ZipFile(path) as archive:
            _compare(archive, manifest, tell)
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    return _contents(manifest)


def _manifest(archive: zipfile.ZipFile) -> dict:
    manifest = json.loads(archive.read("manifest.json"))
    if manifest.get("files"):
        raise BackupRefused("This backup holds attachments, which this version does not keep.")
    if manifest.get("format") != FORMAT:
        raise BackupRefused(f"This backup is of format {manifest.get('format')}; this version reads format {FORMAT}.")
    return manifest


class _Migrations(MigrationExecutor):
    """Each migration and the note that it is done in one transaction. Django notes one that has SQL deferred to its end
    after its tables are committed; killed in between, the next try finds tables that nobody knows of.
    """

    def apply_migration(self, state, migration, fake=False, fake_initial=False):
        with self.connection.constraint_checks_disabled(), transaction.atomic():  # off before it begins
            return super().apply_migration(state, migration, fake=fake, fake_initial=fake_initial)


def _get_ready(manifest: dict):
    """Tables as they were when the backup was made, the models that know them, and whether they are today's."""
    wanted = {(str(app), str(name)) for app, name in manifest["migrations"]}
    executor = _Migrations(connection)
    known = set(executor.loader.graph.nodes)
    if unknown := sorted(wanted - known):
        raise BackupRefused(
            f"This backup was made by another version of the service: {'.'.join(unknown[0])} is not known here. "
            "Restore it with that version."
        )
    leaves = _leaves(executor, wanted)
    applied = _applied(executor)
    if applied < wanted:  # nothing yet, or a restore was cut off while it made tables
        if applied:
            _check_empty(executor.loader.project_state(_leaves(executor, applied)).apps)
        if wanted != known or not first_tables.make_where_none_are():
            executor.migrate(leaves)
    elif applied != wanted:
        raise BackupRefused(
            "The tables here are of another version than the backup. Restore into a new database without any tables."
        )
    if wanted == known:
        return apps, True
    return MigrationExecutor(connection).loader.project_state(leaves).apps, False


def _check_empty(registry) -> None:
    for model in _models(registry):
        name = model._meta.label_lower
        if name not in MADE_BY_MIGRATE and (there := models.QuerySet(model).count()):
            what = model._meta.verbose_name if there == 1 else model._meta.verbose_name_plural
            raise BackupRefused(
                f"There is something in this database already: {there:,} {what}. Restore into an empty one."
            )


def _fill(archive: zipfile.ZipFile, manifest: dict, registry, tell: Tell) -> None:
    by_name = {model._meta.label_lower: model for model in _models(registry)}
    for name in sorted(MADE_BY_MIGRATE & set(by_name)):
        models.QuerySet(by_name[name])._raw_delete(using="default")
    for table in manifest["tables"]:
        model = by_name.get(table["name"])
        if model is None:
            raise BackupRefused(f"The table {table['name']} of the backup is not known here.")
        tell(model._meta.label)
        count, digest = _fill_table(archive, model, table["columns"])
        if (count, digest) != (table["rows"], table["sha256"]):
            raise BackupRefused(
                f"The table {table['name']} was damaged: {count:,} rows of {table['rows']:,} as they were written. "
                "Nothing was restored."
            )
        if (there := models.QuerySet(model).count()) != count:
            raise BackupRefused(f"{count:,} rows went into {table['name']}, and {there:,} are there.")
    if missing := sorted(set(by_name) - {table["name"] for table in manifest["tables"]}):
        raise BackupRefused(f"The table {missing[0]} is missing in the backup. Nothing was restored.")
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_sql(no_style(), list(by_name.values())):
            cursor.execute(sql)


def _fill_table(archive: zipfile.ZipFile, model: type[models.Model], columns: list[str]) -> tuple[int, str]:
    fields = {f.attname: f for f in model._meta.concrete_fields}
    if set(columns) != set(fields):
        raise BackupRefused(f"The columns of {model._meta.label} are others than those of the backup.")
    quote = connection.ops.quote_name
    names = ", ".join(quote(fields[c].column) for c in columns)
    sql = f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({', '.join(['%s'] * len(columns))})"
    makers = [_maker(fields[c]) for c in columns]
    count, digest, waiting, at_once = 0, hashlib.sha256(), [], _at_once(fields.values())
    with archive.open(_member(model._meta.label_lower)) as lines, connection.cursor() as cursor:
        for line in lines:
            digest.update(line)
            row = json.loads(line)
            waiting.append([v if v is None or make is None else make(v) for make, v in zip(makers, row, strict=True)])
            count += 1
            if len(waiting) >= at_once:
                cursor.executemany(sql, waiting)
                waiting = []
        if waiting:
            cursor.executemany(sql, waiting)
    return count, digest.hexdigest()


_AS_THEY_ARE = (models.IntegerField, models.CharField, models.TextField, models.BooleanField, models.FloatField)


def _maker(field: models.Field) -> Callable | None:
    """From the value in the file to what the database takes; None: it is taken as it is."""
    of = field.target_field if field.is_relation else field
    if isinstance(of, models.JSONField):
        return lambda value: of.get_db_prep_save(value, connection)
    if isinstance(of, models.BinaryField):
        return lambda value: of.get_db_prep_save(base64.b64decode(value), connection)
    if isinstance(of, models.DurationField):
        return lambda value: of.get_db_prep_save(dt.timedelta(microseconds=value), connection)
    if isinstance(of, _AS_THEY_ARE) and not hasattr(of, "from_db_value"):
        return None
    return lambda value: of.get_db_prep_save(of.to_python(value), connection)


def _compare(archive: zipfile.ZipFile, manifest: dict, tell: Tell) -> None:
    """The figures computed anew from what was restored, line by line with those taken at the backup."""
    for name, check in manifest["checks"].items():
        if name not in CHECKS:
            continue
        tell(name)
        lines = 0
        with archive.open(f"checks/{name}.jsonl") as kept:
            for now in _figures(name):
                was, here = kept.readline().decode().rstrip("\n"), _encode(list(now))
                if was != here:
                    raise BackupRefused(f"The {name} differ: {here} was {was or 'not there'} in the backup.")
                lines += 1
        if lines != check["lines"]:
            raise BackupRefused(f"Of {check['lines']:,} {name} only {lines:,} are there.")
