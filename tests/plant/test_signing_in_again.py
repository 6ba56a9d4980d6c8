"""Whoever was signed out in the middle of something is told so, and comes back to the page they were on."""

import pytest
from django.test import Client

from tests.factories import DefectFactory, MillFactory
from tests.maintenance.mill import a_user, signed_in

pytestmark = pytest.mark.django_db


def test_a_form_sent_after_the_sign_in_ended_leads_back_to_its_page(client: Client) -> None:
    MillFactory()
    answer = client.post(
        "/rounds/defects/1/work-order/", headers={"referer": "http://testserver/rounds/defects/?kiln=K1"}
    )
    assert answer["Location"] == "/sign-in/?next=/rounds/defects/%3Fkiln%3DK1"
    assert "What you sent last was not stored" in client.get(answer["Location"]).content.decode()


@pytest.mark.parametrize("referer", ["", "https://elsewhere.example/trap/"])
def test_a_form_from_elsewhere_leads_to_the_start(client: Client, referer: str) -> None:
    MillFactory()
    answer = client.post("/rounds/defects/1/work-order/", headers={"referer": referer})
    assert answer["Location"] == "/sign-in/?next=/"


def test_a_part_of_a_page_leads_the_whole_page_to_the_sign_in(client: Client) -> None:
    headers = {"HX-Request": "true", "referer": "http://testserver/kilns/"}
    assert client.get("/kilns/?kiln=K1", headers=headers)["HX-Redirect"] == "/sign-in/?next=/kilns/"


def test_a_page_that_was_open_too_long_says_so() -> None:
    MillFactory()
    strict = signed_in(Client(enforce_csrf_checks=True), a_user("kiln_master"))
    answer = strict.post(f"/rounds/defects/{DefectFactory().pk}/work-order/")
    assert answer.status_code == 403
    assert "Nothing was stored. Go back, load the page again" in answer.content.decode()


def test_an_address_for_forms_says_so_when_it_is_opened(client: Client) -> None:
    MillFactory()
    answer = signed_in(client, a_user("kiln_master")).get(f"/rounds/defects/{DefectFactory().pk}/work-order/")
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert "only takes what a form sends" in answer.content.decode()
