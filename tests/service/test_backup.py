"""A backup is of one moment, though people work on; it restores whole on either engine, or not at all."""

from __future__ import annotations

import json
import os
import zipfile

import pytest

from .running import kill, until

SHOP = """
from tests import factories
dies = [factories.die(f"H-90{n}", build_price="48250.0385") for n in range(3)]
for die in dies:
    places = [factories.position(die, code, item=factories.item()) for code in ("1-A", "2-A")]
    factories.run(die, 1, 20_000)
    factories.sharpen(die, 2, *places)
    factories.run(die, 3, 7_000)
run = factories.run(dies[0], 5, 900, note="twice, “ä” and \\u2028 too")
from maintenance.forecasts import store
from maintenance.log import write
write.strike_out(by=factories.actor(), entry=run, reason="twice")
store.fit_and_forecast(factories.plant())
factories.user("lead")
"""

# Each turn of the writer is one transaction of two entries: a moment in between would have one more of the first.
WRITER = """
import django
django.setup()
import itertools
from django.db import transaction
from diestore.models import Die
from tests import factories
from maintenance.log import write
die = Die.objects.first()
for n in itertools.count(10):
    with transaction.atomic():
        factories.run(die, n, 100, key=f"run-{n}")
        write.log_hit_correction(
            by=factories.actor(), die=die, at=factories.moment(n), hits=3, with_stock=False, reason="set-up",
            key=f"correction-{n}",
        )
"""

# What is read past the backup's own code, and must be the same in both databases.
FIGURES = {
    "hits": "SELECT sum(hits), count(*), count(struck_at) FROM maintenance_run",
    "corrections": "SELECT sum(hits), count(*) FROM maintenance_hitcorrection",
    "ground": "SELECT count(*), CAST(round(CAST(sum(removed_mm) * 1000 AS numeric)) AS integer) FROM maintenance_work",
    "prices": "SELECT sum(build_price) FROM diestore_die",
    "words": "SELECT note FROM maintenance_run WHERE struck_at IS NOT NULL",
    "signs in": "SELECT username, password FROM auth_user ORDER BY id",
    "audit": "SELECT count(*), max(history_id) FROM diestore_historicaldie",
    "fits": "SELECT count(*), max(records_hash) FROM maintenance_fleetfit",
    "left": "SELECT die_id, half_hits FROM maintenance_dieforecast ORDER BY die_id",
}


def figures(site):
    return {name: [tuple(map(str, row)) for row in site.sql(query)] for name, query in FIGURES.items()}


def manifest(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("manifest.json"))


@pytest.fixture
def shop(site):
    site.do(SHOP)
    return site


def other_engine(site, tmp_path) -> str:
    """An address on the other engine, where there is one."""
    return f"sqlite:///{tmp_path}/any.sqlite3" if site.is_postgresql else ""


def test_a_backup_taken_while_people_work_restores_as_it_was_at_one_moment(shop, new_site, tmp_path):
    runs = "SELECT count(*) FROM maintenance_run"
    writer = shop.start("-c", WRITER)
    before = until(lambda: (n := shop.number(runs)) > 15 and n, 60, "the writer writes")
    file = tmp_path / "shop.zip"
    said = shop.manage("backup", str(file))
    assert "hit totals of 3 dies" in said
    during = shop.number(runs)
    until(lambda: shop.number(runs) > during, 30, "the writer goes on")
    assert writer.poll() is None, shop.said()
    shop.end()
    assert os.stat(file).st_mode & 0o077 == 0, "names and sign-ins are nobody else's to read"

    restored = new_site(bare=True)
    assert "Restored and compared" in restored.manage("restore", str(file))
    at = restored.number(runs)
    assert before <= at <= during
    turns = restored.number("SELECT count(*) FROM maintenance_hitcorrection")
    assert at == turns + 7, "both entries of a turn, or none"
    # New rows get numbers of their own, and the rules of the database are there.
    restored.do("from tests import factories; factories.die('N-1'); factories.run(factories.die('N-2'), 1)")
    assert restored.number(runs) == at + 1


def test_what_is_restored_is_the_same_on_each_engine(shop, new_site, tmp_path):
    first = tmp_path / "first.zip"
    shop.manage("backup", str(first))
    told = figures(shop)
    site, file = shop, first
    # there and, where both engines are at hand, over the other and back
    for n, engine in enumerate([other_engine(shop, tmp_path), shop.address] if shop.is_postgresql else [""]):
        site = new_site(bare=True, engine=engine)
        site.manage("restore", str(file))
        assert figures(site) == told
        file = tmp_path / f"again-{n}.zip"
        site.manage("backup", str(file))
        assert manifest(file)["tables"] == manifest(first)["tables"], "the same lines in every table"
        assert manifest(file)["checks"] == manifest(first)["checks"]
    assert site.is_postgresql == shop.is_postgresql


DIES_BEFORE_THE_NOTE = """
import os, pathlib
from django.db.migrations.recorder import MigrationRecorder
from diestore.service import backup

noted = MigrationRecorder.record_applied
def note(self, app, name):
    if (app, name) == ("auth", "0001_initial"):
        os._exit(9)
    noted(self, app, name)

MigrationRecorder.record_applied = note
backup.restore(pathlib.Path({file!r}))
"""


@pytest.mark.walk
def test_a_backup_of_an_older_version_is_brought_up_to_this_one_though_broken_off_on_the_way(shop, new_site, tmp_path):
    """Its tables are made by the migrations of then, one after another. It dies between tables and the note of them
    (before, nobody knew of them then: "table auth_permission already exists"), and again in the midst of all."""
    file = tmp_path / "old.zip"
    shop.manage("migrate", "django_tasks_database", "0020", "--verbosity=0")
    shop.manage("backup", str(file))
    known = len(manifest(file)["migrations"])
    site = new_site(bare=True)
    lines = f"import django\ndjango.setup()\n{DIES_BEFORE_THE_NOTE.format(file=str(file))}"
    assert site.start("-c", lines).wait(60) == 9, site.said()

    def made() -> int:
        try:
            return site.number("SELECT count(*) FROM django_migrations")
        except Exception:  # not even that table
            return 0

    restore = site.start("manage.py", "restore", str(file), "--verbosity=0")
    until(lambda: made() >= 30 or restore.poll() is not None, 60, "it makes tables")
    kill(restore)
    assert 0 < made() < known, site.said()
    site.manage("restore", str(file))
    assert figures(site) == figures(shop)
    site.manage("migrate", "--check", "--verbosity=0")


REFUSED = """
import json, pathlib, zipfile, hashlib
from diestore.service import backup
from diestore.models import Die
folder = pathlib.Path({folder!r})
good = folder / "shop.zip"

def changed(name, change, honest=False):
    to = folder / f"{{name}}.zip"
    with zipfile.ZipFile(good) as old, zipfile.ZipFile(to, "w") as new:
        manifest = json.loads(old.read("manifest.json"))
        for member in old.namelist():
            data = old.read(member)
            if member == "tables/maintenance.run.jsonl":
                data = change(data)
                if honest:
                    for table in manifest["tables"]:
                        if table["name"] == "maintenance.run":
                            table["sha256"] = hashlib.sha256(data).hexdigest()
            if member != "manifest.json":
                new.writestr(member, data)
        if name == "unknown":
            manifest["migrations"].append(["maintenance", "0999_of_tomorrow"])
        if name == "attached":
            manifest["files"] = [{{"name": "H-900.pdf", "sha256": ""}}]
        new.writestr("manifest.json", json.dumps(manifest))
    return to

cut = folder / "cut.zip"
cut.write_bytes(good.read_bytes()[:-2000])
flipped = folder / "flipped.zip"
data = bytearray(good.read_bytes())
with zipfile.ZipFile(good) as archive:
    data[archive.getinfo("tables/maintenance.work.jsonl").header_offset + 90] ^= 0xFF
flipped.write_bytes(bytes(data))
(folder / "no.zip").write_text("this is no backup")
tried = {{
    "missing": folder / "missing.zip",
    "no backup": folder / "no.zip",
    "cut": cut,
    "flipped": flipped,
    "a row short": changed("short", lambda data: data.split(b"\\n", 1)[1]),
    "a figure": changed("figure", lambda data: data.replace(b"20000", b"20001", 1)),
    "clocks": changed("clocks", lambda data: data.replace(b"20000", b"20001", 1), honest=True),
    "unknown": changed("unknown", lambda data: data),
    "attached": changed("attached", lambda data: data),
}}
told = {{}}
for name, path in tried.items():
    try:
        backup.restore(path)
        told[name] = "taken"
    except backup.BackupRefused as reason:
        told[name] = str(reason)
    assert not Die.objects.exists(), name
"""


@pytest.mark.walk
def test_what_is_not_whole_is_refused_in_a_sentence_and_leaves_nothing(shop, new_site, tmp_path):
    file = tmp_path / "shop.zip"
    shop.manage("backup", str(file))
    assert "is there already" in shop.manage("backup", str(file), fails=True)
    empty = new_site()
    told = empty.do(REFUSED.format(folder=str(tmp_path)))
    assert "No such file" in told["missing"]
    for name in ("no backup", "cut", "flipped"):
        assert "is no whole backup" in told[name], told
    for name in ("a row short", "a figure"):
        assert "maintenance.run was damaged" in told[name], told
    assert told["attached"] == "This backup holds attachments, which this version does not keep."
    assert "The clocks differ" in told["clocks"] and "H-900" in told["clocks"]
    assert "another version" in told["unknown"] and "0999_of_tomorrow" in told["unknown"]
    empty.manage("restore", str(file))  # and after all of that the good one goes in
    said = empty.manage("restore", str(file), fails=True)
    assert "There is something in this database already" in said and "Restore into an empty one" in said


MALFORMED = """
import json, pathlib, zipfile
from diestore.models import Die
from diestore.service import backup
folder = pathlib.Path({folder!r})
with zipfile.ZipFile(folder / "shop.zip") as archive:
    members = {{name: archive.read(name) for name in archive.namelist()}}
good = json.loads(members["manifest.json"])
RUNS = "tables/maintenance.run.jsonl"

def with_manifest(**more):
    return {{"manifest.json": json.dumps(good | more).encode()}}

def of_runs(**more):
    return with_manifest(tables=[t | more if t["name"] == "maintenance.run" else t for t in good["tables"]])

def runs_as(data):
    import hashlib
    return {{RUNS: data, **of_runs(sha256=hashlib.sha256(data).hexdigest(), rows=data.count(b"\\n"))}}

first, rest = members[RUNS].split(b"\\n", 1)
row = json.loads(first)
tried = {{
    "a list": {{"manifest.json": b"[]"}},
    "a number": {{"manifest.json": b"7"}},
    "null": {{"manifest.json": b"null"}},
    "no JSON": {{"manifest.json": b"{{"}},
    "deep": {{"manifest.json": b"[" * 100_000}},
    "no letters": {{"manifest.json": b"\\xff\\xfe"}},
    "migrations a number": with_manifest(migrations=3),
    "migrations of numbers": with_manifest(migrations=[1, 2]),
    "migrations of three": with_manifest(migrations=[["a", "b", "c"]]),
    "tables null": with_manifest(tables=None),
    "tables of numbers": with_manifest(tables=[1]),
    "no runs": with_manifest(tables=[t for t in good["tables"] if t["name"] != "maintenance.run"]),
    "unknown table": with_manifest(tables=[{{"name": "x"}}]),
    "columns a number": of_runs(columns=5),
    "columns null": of_runs(columns=None),
    "a column twice": of_runs(columns=[t for t in good["tables"] if t["name"] == "maintenance.run"][0]["columns"] * 2),
    "checks a list": with_manifest(checks=[1]),
    "files a number": with_manifest(files=5),
    "files of numbers": with_manifest(files=[5]),
    "a file nowhere": with_manifest(files=[{{"name": "../../x", "sha256": ""}}]),
    "a row no list": runs_as(b"5\\n" + rest),
    "a row too short": runs_as(json.dumps(row[:-1]).encode() + b"\\n" + rest),
    "a row of lists": runs_as(json.dumps([[1]] * len(row)).encode() + b"\\n" + rest),
    "a row of words": runs_as(json.dumps(["x"] * len(row)).encode() + b"\\n" + rest),
    "a row of nulls": runs_as(json.dumps([None] * len(row)).encode() + b"\\n" + rest),
    "no row at all": runs_as(b"\\n" + rest),
}}
told = {{}}
for name, changed in tried.items():
    path = folder / "malformed.zip"
    with zipfile.ZipFile(path, "w") as new:
        for member, data in (members | changed).items():
            new.writestr(member, data)
    try:
        backup.restore(path)
        told[name] = "taken"
    except backup.BackupRefused as reason:
        told[name] = ""
        assert len(str(reason)) < 800, name
    except BaseException as error:
        told[name] = repr(error)
    assert not Die.objects.exists(), name
"""


def test_a_backup_that_somebody_changed_is_refused_in_a_sentence(shop, new_site, tmp_path):
    """Before, about fifteen of these were tracebacks."""
    shop.manage("backup", str(tmp_path / "shop.zip"))
    told = new_site().do(MALFORMED.format(folder=str(tmp_path)))
    assert {name: said for name, said in told.items() if said} == {} and len(told) >= 25


HALF = """
from django.db import connection
from diestore.register.models import Plant
Plant.objects.create(code="main")
with connection.cursor() as cursor:
    cursor.execute("DROP TABLE django_session")
    cursor.execute("DELETE FROM django_migrations WHERE app = 'sessions'")
"""


def test_tables_of_a_half_restore_with_something_in_them_stay_as_they_are(shop, new_site, tmp_path):
    file = tmp_path / "shop.zip"
    shop.manage("backup", str(file))
    site = new_site()
    site.do(HALF)
    before = site.number("SELECT count(*) FROM django_migrations")
    assert "There is something in this database already" in site.manage("restore", str(file), fails=True)
    assert site.number("SELECT count(*) FROM django_migrations") == before


def test_of_two_backups_to_one_name_one_is_whole_and_the_other_is_told(shop, tmp_path):
    file = tmp_path / "shop.zip"
    children = [shop.start("manage.py", "backup", str(file)) for _ in range(2)]
    assert sorted(child.wait(60) for child in children) == [0, 1], shop.said()
    assert "made by another meanwhile" in shop.said() or "is there already" in shop.said()
    with zipfile.ZipFile(file) as archive:
        assert archive.testzip() is None
    assert os.listdir(tmp_path).count("shop.zip") == 1 and not list(tmp_path.glob("*.part"))
