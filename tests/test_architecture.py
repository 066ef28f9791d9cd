"""Guards by introspection: what must hold for every table, view, migration and file, also those not written yet."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import subprocess
from pathlib import Path

import django_tables2
import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.urls import URLPattern, URLResolver, get_resolver

from diestore import roles

ROOT = Path(__file__).resolve().parent.parent
OURS = ("diestore", "maintenance", "reports")
OPEN_TO_ALL = {"diestore:sign_in", "diestore:sign_out"}


def tracked_files() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    return [ROOT / name for name in listed.decode().split("\0") if name and (ROOT / name).is_file()]


def modules():
    for name in OURS:
        package = importlib.import_module(name)
        for found in pkgutil.walk_packages(package.__path__, f"{name}."):
            if ".migrations." not in found.name and not found.name.endswith(".wsgi"):
                yield importlib.import_module(found.name)


def tables() -> list[type[django_tables2.Table]]:
    found = set()
    for module in modules():
        for _, thing in inspect.getmembers(module, inspect.isclass):
            if issubclass(thing, django_tables2.Table) and thing.__module__.startswith(OURS):
                found.add(thing)
    return sorted(found, key=lambda t: t.__qualname__)


def all_urls(resolver=None, prefix="", namespace=""):
    resolver = resolver or get_resolver()
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            inner = ":".join(n for n in (namespace, entry.namespace) if n)
            yield from all_urls(entry, prefix + str(entry.pattern), inner)
        elif isinstance(entry, URLPattern):
            name = ":".join(n for n in (namespace, entry.name or "") if n)
            yield name, "/" + _filled(prefix + str(entry.pattern))


def _filled(pattern: str) -> str:
    pattern = re.sub(r"\(\?P<[^>]+>[^)]*\)|<[^>]*>", "1", pattern)
    return re.sub(r"[\^$\\]|\(\?:.*?\)\??", "", pattern)


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_migrations_have_spoken_names():
    names = [p.stem for app in OURS for p in (ROOT / app / "migrations").glob("0*.py")]
    assert names
    assert not [n for n in names if "auto" in n or re.fullmatch(r"\d+", n)]


@pytest.mark.parametrize("table", tables(), ids=lambda t: t.__qualname__)
def test_a_table_sorts_both_ways(table):
    sortable = [name for name, column in table.base_columns.items() if column.orderable is not False]
    assert sortable, f"{table.__qualname__} cannot be sorted at all"


@pytest.mark.django_db
def test_no_page_opens_for_the_outsider_and_none_breaks(client):
    seen = 0
    for name, url in all_urls():
        if name in OPEN_TO_ALL or name.startswith("admin:") or url.startswith("/static"):
            continue
        for answer in (client.get(url), client.post(url)):
            assert answer.status_code in (301, 302, 403, 404, 405), f"{name} {url} gives {answer.status_code}"
            if answer.status_code == 302:
                assert "/sign-in" in answer["Location"], f"{name} sends the outsider to {answer['Location']}"
        seen += 1
    assert seen > 5


@pytest.mark.django_db
@pytest.mark.parametrize("role", [*roles.ROLES, None])
def test_no_page_breaks_for_anybody(client, role):
    """Every address by every role, with an id that names nothing: an answer, and never an error of ours."""
    user = User.objects.create_user("somebody", password="x")
    if role:
        user.groups.add(user.groups.model.objects.get(name=role))
    client.force_login(user)
    for name, url in all_urls():
        if name.startswith("admin:"):
            continue
        answer = client.get(url)
        assert answer.status_code < 500, f"{name} {url} gives {answer.status_code}"


def test_every_model_is_known_by_a_plain_name():
    assert {m._meta.app_label for m in apps.get_models() if m.__module__.startswith(OURS)} == {
        "diestore",
        "maintenance",
    }


def test_files_name_no_machine_and_no_registry():
    """Paths of a machine and addresses of package registries belong in no file."""
    wrong = re.compile(
        rb"(?<![\w.])/(?:home|Users|root|work)/\w|files\.python" rb"hosted|py" rb"pi\.org|registry\.npm" rb"js", re.I
    )
    found = [
        f"{path.relative_to(ROOT)}"
        for path in tracked_files()
        if path.suffix not in (".png", ".ico", ".lock") and wrong.search(path.read_bytes())
    ]
    assert not found


def test_no_python_file_is_longer_than_a_person_reads():
    long = {
        str(path.relative_to(ROOT)): lines
        for path in tracked_files()
        if path.suffix == ".py" and (lines := len(path.read_bytes().splitlines())) > 700
    }
    assert not long
