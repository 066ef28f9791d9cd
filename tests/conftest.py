"""What tests of several rooms share."""

from __future__ import annotations

import pytest
from django.test import override_settings
from hypothesis import settings as laws

from diestore.access import roles

# The suite tries the same inputs every time, so that it fails for a change and not by luck. To look further:
# pytest --hypothesis-profile=search
laws.register_profile("suite", derandomize=True, deadline=None)
laws.register_profile("search", max_examples=1_000, deadline=None, print_blob=True)
laws.load_profile("suite")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """A test that asks for no database is the same on every one: the run on a second database leaves it out."""
    for item in items:
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


@pytest.fixture
def as_role(client, db):
    """A client signed in as somebody of that role: `as_role("lead")`."""
    from tests import factories

    def sign_in(role: str):
        assert role in roles.ROLES
        client.force_login(factories.user(role))
        return client

    return sign_in
