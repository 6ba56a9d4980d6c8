"""When the program fails it says so on a page of its own, and nothing is half stored."""

from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client

from config.views import server_error
from plant.models import Change, Mill, Person
from tests.factories import MillFactory, UserFactory

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"


@pytest.fixture
def planner(settings: Any) -> Client:
    settings.DEBUG = False
    MillFactory()
    client = Client(raise_request_exception=False)
    client.force_login(UserFactory(role="planner"), backend=BACKEND)
    return client


def fail(*args: Any, **kwargs: Any) -> Any:
    raise OperationalError("disk full")


def test_a_view_whose_database_fails_answers_503_with_our_page_and_leaves_nothing_half_stored(
    planner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        # The person is written first, the history after it: the second fails.
        broken.setattr(Change, "record", fail)
        answer = planner.post("/new-person/", {"code": "per", "name": "Per"})
    assert answer.status_code == 503
    page = answer.content.decode()
    assert "does not answer, or the disk is full" in page
    assert "Nothing of this step was stored" in page
    assert "disk full" not in page
    assert not Person.objects.filter(code="per").exists()
    assert planner.post("/new-person/", {"code": "per", "name": "Per"}).status_code == 302
    assert Person.objects.filter(code="per").exists()


def test_the_page_comes_even_when_the_database_does_not_answer(
    planner: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Mill.objects, "first", fail)
    answer = planner.get("/people/")
    assert (answer.status_code, answer["Content-Type"]) == (503, "text/html; charset=utf-8")
    assert "does not answer, or the disk is full" in answer.content.decode()


def test_the_page_of_failure_asks_the_database_nothing(
    planner: Client, django_assert_num_queries: Any, rf: Any
) -> None:
    with django_assert_num_queries(0):
        assert b"The program failed" in server_error(rf.get("/")).content  # type: ignore[attr-defined]
