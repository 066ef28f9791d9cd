"""What tests of several rooms share."""

from __future__ import annotations

import pytest

from diestore import roles


@pytest.fixture
def as_role(client, db):
    """A client signed in as somebody of that role: `as_role("lead")`."""
    from tests import factories

    def sign_in(role: str):
        assert role in roles.ROLES
        client.force_login(factories.user(role))
        return client

    return sign_in
