"""The frame around every page."""

from typing import Any

import pytest
from django.test import Client

from tests.factories import MillFactory, UserFactory


@pytest.mark.django_db
def test_a_stranger_is_asked_to_sign_in(client: Client) -> None:
    answer = client.get("/")
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=/")
    assert b"Sign in" in client.get("/sign-in/").content


@pytest.mark.django_db
def test_a_missing_page_says_so_in_the_frame(client: Client) -> None:
    MillFactory()
    client.force_login(UserFactory(role="planner"), backend="django.contrib.auth.backends.ModelBackend")
    answer = client.get("/no-such-page/")
    assert answer.status_code == 404
    assert "Nothing here" in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("role", "landing"),
    [
        ("planner", "/openings/"),
        ("kiln_master", "/kilns/"),
        ("storekeeper", "/stores/"),
        ("technician", "/my-work/"),
        ("manager", "/availability/"),
        ("auditor", "/rounds/proof-tests/"),
        ("administrator", "/people/"),
    ],
)
def test_everybody_lands_on_what_concerns_them(client: Client, role: str, landing: str) -> None:
    client.force_login(UserFactory(role=role), backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/")["Location"] == "/first-hour/", "before there is a mill"
    MillFactory()
    assert client.get("/")["Location"] == landing


@pytest.mark.django_db
def test_a_wrong_password_is_refused_and_the_sixth_try_is_locked_out(client: Client) -> None:
    user = UserFactory(role="planner")
    user.set_password("fallow bridge")
    user.save(update_fields=["password"])
    tries: list[Any] = [
        client.post("/sign-in/", {"username": "oda", "password": "guess"}).status_code for _ in range(6)
    ]
    assert tries[0] == 200
    assert tries[-1] == 429
    assert client.post("/sign-in/", {"username": "oda", "password": "fallow bridge"}).status_code == 429
