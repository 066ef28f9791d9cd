"""Guards by introspection: what must hold for every table, view, migration and file, also those not written yet."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import random
import re
import shutil
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import django_tables2
import pytest
from django.apps import apps
from django.core.management import call_command
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils.module_loading import import_string

from diestore.access import roles
from diestore.frame.tables import Rows
from diestore.register import panels
from diestore.register.models import Die
from diestore.service import backup, state
from fixtures import make_house

ROOT = Path(__file__).resolve().parent.parent
OURS = ("diestore", "maintenance", "reports")
OPEN_TO_ALL = {"diestore:first_start", "diestore:sign_in", "diestore:sign_out", "diestore:alive"}
OPEN_IN_ADMINISTRATION = {"/admin/login/", "/admin/logout/", "/admin/jsi18n/"}


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


def test_an_address_leads_to_one_page():
    """Of two pages at one address the second is never reached, and nothing says so. Programs read and send at one."""
    pages = Counter(address for name, address in all_urls() if not name.startswith(("admin:", "api:")))
    assert [address for address, times in pages.items() if times > 1] == []


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_migrations_have_spoken_names():
    names = [p.stem for app in OURS for p in (ROOT / app / "migrations").glob("0*.py")]
    assert names
    assert not [n for n in names if "auto" in n or re.fullmatch(r"\d+", n)]


class Row:
    """A row that answers to whatever a column sorts by: `stock__code` is row.stock.code."""

    def __init__(self, values: dict[str, int]) -> None:
        for path, value in values.items():
            place, *rest = path.split("__", 1)
            if rest:
                inner = self.__dict__.setdefault(place, Row({}))
                inner.__dict__.update(Row({rest[0]: value}).__dict__)
            else:
                self.__dict__[place] = value


def sort_keys(column, name: str) -> list[str]:
    return [str(key).lstrip("-").replace(".", "__") for key in column.order_by or [column.accessor or name]]


@pytest.mark.parametrize("table", tables(), ids=lambda t: t.__qualname__)
def test_a_table_sorts_both_ways_and_last_by_the_primary_key(table):
    """Pages would overlap or lose a row if rows that are equal had no order of their own."""
    columns = {name: column for name, column in table.base_columns.items() if column.orderable is not False}
    assert columns, f"{table.__qualname__} cannot be sorted at all"
    for name, column in columns.items():
        *keys, last = sort_keys(column, name)
        assert keys and re.fullmatch(r"(\w+__)?pk", last), f"{table.__qualname__}.{name} ends with {last}, not the key"
        shuffled = random.Random(name)
        rows = [Row(dict.fromkeys(keys, n % 3) | {last: n}) for n in range(12)]
        shuffled.shuffle(rows)
        rising = sorted(range(12), key=lambda n: (n % 3, n))
        for sign, expected in (("", rising), ("-", rising[::-1])):
            for data in (rows, Rows(rows)):
                found = [value_at(row.record, last) for row in table(data, order_by=sign + name).rows]
                assert found == expected, f"{table.__qualname__} sorted by {sign}{name}"


def test_rows_without_a_value_come_last_both_ways():
    class Few(django_tables2.Table):
        hits = django_tables2.Column(order_by=("hits", "pk"))

    rows = [Row({"hits": hits, "pk": pk}) for pk, hits in enumerate([5, None, 0, 7, None])]
    for sign, expected in (("", [2, 0, 3, 1, 4]), ("-", [3, 0, 2, 4, 1])):
        assert [row.record.pk for row in Few(Rows(rows), order_by=sign + "hits").rows] == expected


def value_at(record, path: str):
    for place in path.split("__"):
        record = getattr(record, place)
    return record


@pytest.mark.django_db
def test_no_page_opens_for_the_outsider_and_none_breaks(client):
    seen = 0
    for name, url in all_urls():
        if name in OPEN_TO_ALL or url in OPEN_IN_ADMINISTRATION:
            continue
        for answer in (client.get(url), client.post(url)):
            assert answer.status_code in (301, 302, 401, 403, 404, 405), f"{name} {url} gives {answer.status_code}"
            if answer.status_code in (301, 302):
                to = answer["Location"].split("?")[0]
                assert to in ("/sign-in/", "/admin/login/"), f"{name} sends the outsider to {to}"
        seen += 1
    assert seen > 5


@pytest.mark.django_db
@pytest.mark.parametrize("role", roles.ROLES)
def test_no_page_breaks_for_anybody(as_role, role):
    """Every address by every role, with an id that names nothing: an answer, and never an error of ours."""
    client = as_role(role)
    for name, url in all_urls():
        answer = client.get(url)
        assert answer.status_code < 500, f"{name} {url} gives {answer.status_code}"


@pytest.mark.django_db
def test_no_page_breaks_for_somebody_without_a_role(client, django_user_model):
    client.force_login(django_user_model.objects.create_user("somebody"))
    for name, url in all_urls():
        answer = client.get(url)
        assert answer.status_code < 500, f"{name} {url} gives {answer.status_code}"


def python_files() -> list[Path]:
    return [path for path in tracked_files() if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in OURS]


def contracts() -> dict[str, dict]:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    return {contract["id"]: contract for contract in settings["contracts"]}


# One import a contract must not let pass: where it is put, what it says, and the chain that is found.
FORBIDDEN = (
    (
        "diestore/register/queries.py",
        "from maintenance.forecasts import stored",
        "diestore.register.queries -> maintenance.forecasts.stored",
    ),
    ("diestore/frame/tables.py", "from diestore.access import roles", "diestore.frame.tables -> diestore.access.roles"),
    ("diestore/handbook/kinds.py", "from diestore import money", "diestore.handbook.kinds -> diestore.money"),
    ("maintenance/life/prior.py", "def f():\n    import pandas", "maintenance.life.prior -> pandas"),
    ("maintenance/clockwork/rows.py", "from django.utils import timezone", "maintenance.clockwork.rows -> django"),
    (
        "maintenance/models/log.py",
        "from maintenance.log import rules",
        "maintenance.models.log -> maintenance.log.rules",
    ),
    ("maintenance/odds_and_ends.py", "", "maintenance.odds_and_ends"),
    ("maintenance/log/read.py", "from . import write", "maintenance.log.read -> maintenance.log.write"),
    (
        "maintenance/forecasts/fit.py",
        "from . import track_record",
        "maintenance.forecasts.fit -> maintenance.forecasts.track_record",
    ),
    (
        "maintenance/screens/edge/plots.py",
        "from maintenance.screens.die import timeline",
        "maintenance.screens.edge.plots -> maintenance.screens.die.timeline",
    ),
    ("reports/today.py", "from maintenance.models import Run", "reports.today -> maintenance.models"),
    ("reports/costing/money.py", "from reports import spares", "reports.costing.money -> reports.spares"),
)


@pytest.mark.no_database
def test_the_import_contracts_find_what_breaks_them(tmp_path):
    for name in OURS:
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("static", "templates", "*.pyc"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for place, line, _ in FORBIDDEN:
        path = tmp_path / place
        path.parent.mkdir(exist_ok=True)
        (path.parent / "__init__.py").touch()
        with path.open("a") as file:
            file.write(f"\n{line}\n")
    command = (
        "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_logo=True, no_cache=True))"
    )
    found = subprocess.run([sys.executable, "-c", command], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert found.returncode == 1
    said = " ".join(found.stdout.split())
    assert f"Contracts: 0 kept, {len(contracts())} broken." in said
    assert not [chain for _, _, chain in FORBIDDEN if chain not in said], said


@pytest.mark.no_database
def test_the_picture_of_the_house_is_that_of_the_contracts():
    assert make_house.PICTURE.read_text(encoding="utf-8") == make_house.draw(), "python -m fixtures.make_house"


@pytest.mark.no_database
def test_every_room_says_what_it_is_for():
    silent = [
        f"{app}/{room}"
        for app in OURS
        for layer in make_house.layers(app)
        for room in layer
        if (ROOT / app / room).is_dir() and room != "management" and not make_house.first_sentence(app, room)
    ]
    assert not silent


def in_a_fresh_python(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.mark.no_database
def test_types_of_every_pure_room_and_of_the_writes_are_judged():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mypy"]
    rooms = [name.removesuffix(".**") for name in contracts()["pure"]["source_modules"]]
    wanted = rooms + [f"maintenance.log.{name}" for name in ("write", "rules", "derived")]
    judged = {(ROOT / name).with_suffix("") for name in settings["files"]}
    paths = [ROOT.joinpath(*name.split(".")) for name in wanted]
    assert len(paths) > 15 and not [path for path in paths if not judged & {path, *path.parents}]
    assert settings["disallow_untyped_defs"] is True


@pytest.mark.no_database
def test_pure_rooms_load_without_what_they_may_not_know():
    """What the import contracts read from the source, seen at run time too."""
    rooms = [name.removesuffix(".**") for name in contracts()["pure"]["source_modules"]]
    names = [
        module.removesuffix(".__init__")
        for path in python_files()
        for module in [".".join(path.relative_to(ROOT).with_suffix("").parts)]
        if any(module == room or module.startswith(f"{room}.") for room in rooms)
    ]
    assert len(names) > 40
    unwanted = contracts()["pure"]["forbidden_modules"]
    assert not in_a_fresh_python(
        f"import importlib, sys\nfor name in {names}: importlib.import_module(name)\n"
        f"print(*(name for name in {unwanted} if name in sys.modules))"
    )


def test_names_of_what_stands_above_lead_somewhere():
    """What a room below calls by name alone: panels and buttons of the die's page, what is watched and compared."""
    paths = [panel.draws for panel in panels.PANELS] + [*state.WATCHED, *backup.CHECKS.values()]
    assert len(paths) > 3 and all(callable(import_string(path)) for path in paths)
    assert all(act.address(Die(pk=1)) for act in panels.ACTS)
    known = {code for code, _ in roles.PERMISSIONS}
    assert {named.permission for named in (*panels.PANELS, *panels.ACTS)} - {None} <= known


@pytest.mark.no_database
def test_starting_loads_nothing_slow():
    """Every command pays for what is loaded at the start: slow libraries are loaded where they are used."""
    slow = ("scipy.optimize", "scipy.special", "scipy.linalg", "scipy.stats", "pandas", "matplotlib")
    assert not in_a_fresh_python(
        "import os, sys\nos.environ['DJANGO_SETTINGS_MODULE'] = 'diestore.settings'\n"
        "import django; django.setup()\nfrom django.core.checks import run_checks; run_checks()\n"
        f"print(*(name for name in {slow} if name in sys.modules))"
    )


def test_every_model_is_known_by_a_plain_name():
    assert {m._meta.app_label for m in apps.get_models() if m.__module__.startswith(OURS)} == {
        "diestore",
        "maintenance",
        "reports",
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


@pytest.mark.no_database
def test_no_python_file_is_longer_than_a_person_reads():
    """About 600 lines is where a file hurts; those above are split, at the latest at 700."""
    long = {
        str(path.relative_to(ROOT)): lines
        for path in tracked_files()
        if path.suffix == ".py" and (lines := len(path.read_bytes().splitlines())) > 700
    }
    assert not long


@pytest.mark.no_database
def test_no_line_of_a_template_is_longer_than_a_person_reads():
    """Break it where white space changes nothing: between attributes, in a sentence, beside what is a block."""
    long = {
        f"{path.relative_to(ROOT)}:{number}": len(line)
        for path in tracked_files()
        if path.suffix == ".html"
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if len(line) >= 200
    }
    assert long == {}


def test_numbers_in_addresses_and_fields_carry_no_comma():
    """A template writes 1234 as 1,234, which no address and no form field takes back: `|stringformat:"d"` there."""
    bare = re.compile(r"\{\{ [a-z_.]*(?:\bpk|\bid|page_number|edge\.position) \}\}")
    found = [
        f"{path.relative_to(ROOT)}: {hit}"
        for path in tracked_files()
        if path.suffix == ".html"
        for hit in bare.findall(path.read_text())
        if "attrs.id" not in hit
    ]
    assert not found


def test_no_form_lets_a_browser_read_a_number():
    """A browser takes "1,5" for 15 or for nothing, as its language has it: text, read by `diestore.typed`."""
    from django import forms

    def all_of(kind):
        return {kind}.union(*(all_of(sub) for sub in kind.__subclasses__()))

    importlib.import_module("diestore.urls")
    ours = [
        form
        for form in all_of(forms.BaseForm)
        if form.__module__.split(".")[0] in ("diestore", "maintenance", "reports")
    ]
    assert len(ours) > 25
    boxes = [
        f"{form.__module__}.{form.__name__}.{name}"
        for form in ours
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field.widget, forms.NumberInput) and not isinstance(field.widget, forms.HiddenInput)
    ]
    assert [name for name in boxes if ".admin." not in name and "register.forms" not in name] == []


def test_the_name_of_a_right_fits_a_database_that_is_being_made():
    """Django makes its table of rights with 50 letters and widens it later; before that PostgreSQL takes no more."""
    assert {name for _, name in roles.PERMISSIONS if len(name) > 50} == set()
