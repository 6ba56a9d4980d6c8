"""Charges over the API: with a token of their own kind, all or nothing, twice as once, and given back as they stand."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.exceptions import PermissionDenied
from django.test import Client

from plant.models import Charge
from plant.readings.source_tokens import make_token
from tests.factories import MONDAY, ChargeFactory, KilnFactory, UserFactory
from tests.plant.charges.planned import signed_in
from tests.plant.sending import Sender, sending_mill

NOW = MONDAY + timedelta(days=2)
BEGIN = (NOW + timedelta(days=1)).isoformat()
END = (NOW + timedelta(days=5)).isoformat()
PLANNED = {"kiln": "K1", "number": "26-1", "species": "spruce", "thickness_mm": 50, "volume_m3": 55.5}
PLANNED |= {"begin_at": BEGIN, "end_at": END}


@pytest.fixture(autouse=True)
def _wednesday(db: None) -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def sender() -> Sender:
    return sending_mill()


@pytest.fixture
def token(sender: Sender) -> str:
    return make_token(sender.source, by=None, purpose="charges")[1]


def send(token: str, *charges: Any, status: int = 200) -> Any:
    body = json.dumps({"charges": charges})
    headers = {"Authorization": f"Bearer {token}"}
    found = Client().post("/api/charges", body, content_type="application/json", headers=headers)
    assert found.status_code == status, found.content
    return found.json()


def given(token: str) -> Any:
    return Client().get("/api/charges", headers={"Authorization": f"Bearer {token}"})


def counts(**some: int) -> dict[str, int]:
    return dict.fromkeys(("planned", "changed", "told", "known", "differing"), 0) | some


def test_charges_are_taken_once_and_given_back(token: str) -> None:
    assert send(token, PLANNED) == counts(planned=1)
    assert send(token, PLANNED) == counts(known=1)
    assert send(token, {"kiln": "K1", "number": "26-1", "volume_m3": 60}) == counts(changed=1)
    assert send(token, {"kiln": "K1", "number": "26-1", "told": [{"what": "expected", "at": END}]}) == counts(told=1)
    (charge,) = given(token).json()["charges"]
    assert (charge["volume_m3"], charge["state"], charge["told"][0]["by"]) == (60.0, "planned", "controller")


def test_each_kind_of_token_opens_its_own_addresses(sender: Sender, token: str) -> None:
    assert "not for charges" in send(sender.text, PLANNED, status=403)["message"]
    assert given(sender.text).status_code == 403
    assert Client().get("/api/channels", headers={"Authorization": f"Bearer {token}"}).status_code == 403
    assert given("nonsense").status_code == 401
    assert not Charge.objects.exists()


def test_only_who_plans_charges_makes_a_token_for_them(sender: Sender) -> None:
    manager = UserFactory(username="m", role="manager")
    with pytest.raises(PermissionDenied):
        make_token(sender.source, by=manager, purpose="charges")
    page = signed_in("administrator").post("/readings/sources/controller/tokens/", {"purpose": "charges"})
    assert "gives and takes charges" in page.content.decode()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"begin_at": 1795582800}, "RFC 3339"),
        ({"begin_at": "2026-12-01T06:00:00"}, "timezone"),
        ({"end_at": "9999-12-31T23:59:59Z"}, "2000 to 2099"),
        ({"thickness_mm": "50"}, "write a number"),
        ({"volume_m3": -1}, "greater than 0"),
        ({"species": "\u0000"}, "pattern"),
        ({"colour": "blue"}, "not permitted"),
        ({"told": [{"what": "burnt", "at": BEGIN}]}, "started"),
        ({"kiln": "K9"}, "No kiln “K9”"),
    ],
)
def test_what_cannot_be_meant_is_refused_by_its_place_and_nothing_is_kept(
    token: str, change: dict[str, Any], words: str
) -> None:
    told = send(token, PLANNED, {**PLANNED, "number": "26-2", **change}, status=422)
    assert [fault["index"] for fault in told["faults"]] == [1]
    assert words in told["faults"][0]["message"]
    assert not Charge.objects.exists()


def test_the_example_of_the_document_is_taken(token: str) -> None:
    document = Client().get("/api/openapi.json").json()
    body = document["paths"]["/api/charges"]["post"]["requestBody"]["content"]["application/json"]
    assert "$ref" not in json.dumps(body)
    plan, told = body["example"]["charges"]
    with time_machine.travel("2026-11-30T15:00:00+01:00", tick=False):
        out_at = MONDAY.fromisoformat(told["told"][0]["at"])
        inside: Any = ChargeFactory(
            kiln=KilnFactory(), number=told["number"], begin_at=out_at - timedelta(days=4), days=4.1, basis="running"
        )
        assert send(token, plan, told) == counts(planned=1, told=1)
        inside.refresh_from_db()
        assert (inside.basis, inside.end_at) == ("done", out_at)
