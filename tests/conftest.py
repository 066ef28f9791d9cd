"""What tests of several rooms share."""

from __future__ import annotations

import pytest
from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import override_settings
from hypothesis import settings as laws

from diestore.access import roles

# The suite tries the same inputs every time, so that it fails for a change and not by luck. To look further:
# pytest --hypothesis-profile=search
laws.register_profile("suite", derandomize=True, deadline=None)
laws.register_profile("search", max_examples=1_000, deadline=None, print_blob=True)
laws.load_profile("suite")


# What a page says and what a forecast makes of the records is the same on every database. A second one has of these:
ASKED_THERE_TOO = {"test_due", "test_questions", "test_store"}  # all pages opened, many dies read and kept at once
PAGES = {"pages", "cards", "labels", "screens", "forecasts"}
OF_HTTP = {"test_bodies", "test_exports", "test_headers", "test_passwords"}  # what comes over the wire


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """A test that asks for no database is the same on every one, and so is what a page says: the run on a second
    database leaves them out."""
    for item in items:
        if (item.path.parent.name in PAGES and item.path.stem not in ASKED_THERE_TOO) or item.path.stem in OF_HTTP:
            item.add_marker("words")
        asks = item.get_closest_marker("django_db") or {"db", "transactional_db", "live_server", "new_site"} & set(
            item.fixturenames
        )
        if not asks:
            item.add_marker("no_database")


@pytest.fixture(scope="session", autouse=True)
def quick_passwords():
    """Passwords are hashed slowly on purpose; tests that make a user need not wait for it."""
    with override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"]):
        yield


@pytest.fixture(scope="session", autouse=True)
def static_files_as_asked_for():
    """Each client of a test starts the site anew, which looks through all static files: half of what a walk takes."""
    with override_settings(WHITENOISE_AUTOREFRESH=True):
        yield


@pytest.fixture(scope="session", autouse=True)
def stands_still():
    """The shops of most tests are of other years: for them today is the day of the log's last entry."""
    with override_settings(STANDS_STILL=True):
        yield


@pytest.fixture(scope="session", autouse=True)
def what_follows_a_commit():
    """Most tests are one transaction that never commits. What is to follow a commit follows in them where the outermost
    transaction ends that the code under test has opened, and at once where it has opened none: as outside of tests."""
    leave, on_commit = transaction.Atomic.__exit__, BaseDatabaseWrapper.on_commit

    def only_the_tests_own(connection) -> bool:
        return connection.in_atomic_block and all(atomic._from_testcase for atomic in connection.atomic_blocks)

    def leave_and_follow(self, exc_type, exc_value, traceback):
        leave(self, exc_type, exc_value, traceback)
        connection = transaction.get_connection(self.using)
        if not self._from_testcase and only_the_tests_own(connection):
            waiting, connection.run_on_commit = connection.run_on_commit, []
            for _, follow, _ in waiting:
                follow()

    def on_commit_or_now(self, func, robust=False):
        if only_the_tests_own(self):
            func()
        else:
            on_commit(self, func, robust)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(transaction.Atomic, "__exit__", leave_and_follow)
        patch.setattr(BaseDatabaseWrapper, "on_commit", on_commit_or_now)
        yield


@pytest.fixture(scope="module")
def of_the_module(django_db_setup, django_db_blocker):
    """What a module's own fixtures put into the database stays for all its tests and goes with the last of them; what
    a test itself writes goes with that test, as ever."""
    with django_db_blocker.unblock():
        around = transaction.atomic()
        around._from_testcase = True  # what follows a commit follows in these tests as in others
        with around:
            yield
            transaction.set_rollback(True)


@pytest.fixture
def no_forecasts():
    """A forecast after each write is half of what tests of the log would take, and none of what they ask."""
    from tests import factories

    with factories.no_forecasts():
        yield


@pytest.fixture
def as_role(client, db):
    """A client signed in as somebody of that role: `as_role("lead")`."""
    from tests import factories

    def sign_in(role: str):
        assert role in roles.ROLES
        client.force_login(factories.user(role))
        return client

    return sign_in
