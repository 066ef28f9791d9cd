"""Made-up calls against the published schema: never a fault of the server, and every answer as the schema says.

The explicit phase is schemathesis' coverage: each limit and each wrong kind of every field once, some 470 calls.

`SCHEMA_EXAMPLES=3000 pytest tests/counters/test_api_schema.py` looks further than the suite does.
"""

from __future__ import annotations

import os

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, settings
from pydantic import TypeAdapter, ValidationError
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi import checks as openapi_checks

from maintenance.api.schema import Code
from maintenance.counters import devices, settle
from maintenance.models import Counter
from reports.api import api
from tests import factories as make
from tests.counters import shop

pytestmark = pytest.mark.django_db
EXAMPLES = int(os.environ.get("SCHEMA_EXAMPLES", "100"))
TOKEN = "a token that only this test knows"
CHECKED = [
    not_a_server_error,
    openapi_checks.status_code_conformance,
    openapi_checks.content_type_conformance,
    openapi_checks.response_headers_conformance,
    openapi_checks.response_schema_conformance,
    openapi_checks.negative_data_rejection,
]


@pytest.fixture
def one_connection():
    """Calls go into the application as from a server, which would close the connection that holds the test's work."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.fixture
def shop_with_a_device(db, one_connection):
    shop.press()
    die = make.die()
    make.position(die)
    made = shop.device()
    made.device.token_hash = devices.hash_of(TOKEN)
    made.device.save()
    shop.set_die(die)
    yield made.device
    settle.settle_waiting()  # whatever came through can be counted
    assert not Counter.objects.filter(waiting_since__isnull=False).exists()


schema = schemathesis.openapi.from_dict(api.get_openapi_schema(path_prefix="/api/v1/"))
schema.app = get_wsgi_application()


def is_code(value: object) -> bool:
    try:
        TypeAdapter(Code).validate_python(value, strict=True)
    except ValidationError:
        return False
    return True


@schema.hook
def map_body(context, body):
    """Half of the messages speak of the press and the die that there are; else few would get past the first look. What
    is no code stays: it has to be refused."""
    if isinstance(body, dict):
        counts = body.get("counts")
        for row in [body, *(counts if isinstance(counts, list) else ())]:
            if isinstance(row, dict) and len(str(row.get("id"))) % 2:
                for name, code in (("press", "P1"), ("die", "H-900")):
                    if is_code(row.get(name)):
                        row[name] = code
    return body


@schema.parametrize()
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_any_call_is_answered_as_the_schema_says(case, shop_with_a_device):
    case.call_and_validate(headers={"Authorization": f"Bearer {TOKEN}"}, checks=CHECKED)
