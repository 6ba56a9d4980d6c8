"""The OpenAPI document says what is true: requests made up from it are answered as it says, and what it forbids is not
taken. Made by schemathesis, always the same ones.
"""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import schemathesis
from django.core import signals
from django.core.handlers.wsgi import WSGIHandler
from django.db import close_old_connections
from django.test import Client
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from plant.models import SourceToken
from plant.readings.api.app import api
from plant.readings.calculations.sent_readings import END_S
from tests.plant.sending import DRY, WET, Sender, sending_mill, stored

pytestmark = pytest.mark.django_db
TEXT = "tell-tale-" * 4


@pytest.fixture
def sender(monkeypatch: pytest.MonkeyPatch) -> Iterator[Sender]:
    """Set up the mill, with a token that does not change from run to run, at the end of the time that may be sent."""
    monkeypatch.setattr("plant.clock.now", lambda: datetime.fromtimestamp(END_S, UTC))
    monkeypatch.setattr("plant.frame.tokens.secrets.token_urlsafe", lambda count: TEXT)
    # As Django's own test client does: the connection holds the transaction of the test.
    signals.request_started.disconnect(close_old_connections)
    signals.request_finished.disconnect(close_old_connections)
    yield sending_mill()
    signals.request_started.connect(close_old_connections)
    signals.request_finished.connect(close_old_connections)


def narrowed() -> Any:
    """Give the document with what it cannot know filled in: the mill's channels and units, and times as text.

    So all that the document allows must be taken.
    """
    document = json.loads(json.dumps(api.get_openapi_schema()))
    body = document["paths"]["/api/readings"]["post"]["requestBody"]["content"]["application/json"]
    reading = body["schema"]["properties"]["readings"]["items"]["properties"]
    reading["channel"]["enum"] = [DRY, WET, "DB1"]
    reading["unit"]["enum"] = ["degC", "°F", ""]
    reading["at"]["oneOf"][0]["enum"] = ["2025-11-25T06:00:00+01:00", "2025-11-25t05:00:00.25z"]
    schema = schemathesis.openapi.from_dict(document)
    schema.app = WSGIHandler()
    return schema


DOCUMENT = narrowed()


@DOCUMENT.parametrize()
@settings(
    max_examples=40,
    derandomize=True,
    deadline=None,
    database=None,
    # One mill for all requests: what was sent before must not matter.
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_made_up_requests_are_answered_as_the_document_says(case: schemathesis.Case, sender: Sender) -> None:
    is_of_charges = case.path.endswith("/charges")
    SourceToken.objects.update(purpose="charges" if is_of_charges else "readings")
    # What a charge may be, its kiln and what is in it decide: no document knows that.
    left_out = [positive_data_acceptance] if is_of_charges else []
    case.call_and_validate(headers={"Authorization": f"Bearer {TEXT}"}, excluded_checks=left_out)


def test_the_document_is_served_to_everybody_and_its_example_is_taken(sender: Sender) -> None:
    document = Client().get("/api/openapi.json").json()
    assert document == json.loads(json.dumps(api.get_openapi_schema()))
    example = document["paths"]["/api/readings"]["post"]["requestBody"]["content"]["application/json"]["example"]
    assert sender.post(example).json() == {"new": 2, "known": 0, "differing": 0}
    assert stored() != []
