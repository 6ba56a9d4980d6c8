"""Whoever was signed out in the middle of something is told so, and comes back to the page they were on."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from maintenance.models import Defect
from plant import clock
from plant.frame.kept_forms import forget_old, keep
from plant.models import KeptForm, User
from tests.factories import DefectFactory, MillFactory
from tests.maintenance.mill import a_user, signed_in

pytestmark = pytest.mark.django_db
PASSWORD = "fallow-bridge-11"


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


# typed words


FORM = {"why": "the hinge squeals"}


@pytest.fixture
def strict(client: Client) -> Client:
    """A browser that minds the tokens of its pages."""
    MillFactory()
    return Client(enforce_csrf_checks=True)


def token_of(strict: Client, page: str) -> str:
    shown = strict.get(page).content.decode()
    found = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', shown)
    assert found
    return found[1]


def sign_in(strict: Client, name: str, page: str = "/") -> str:
    """Sign in anew by the form; return where it leads."""
    Session.objects.all().delete()
    said = {"username": name, "password": PASSWORD, "csrfmiddlewaretoken": token_of(strict, "/sign-in/"), "next": page}
    answer = strict.post("/sign-in/", said)
    assert answer.status_code == 302
    return answer["Location"]


def somebody(name: str, role: str = "kiln_master") -> User:
    user = a_user(role, name)
    user.set_password(PASSWORD)
    user.save()
    return user


def typed_in_vain(strict: Client, page: str, ends: str, **headers: str) -> Any:
    """Open a page, type, lose the sign-in or the page's token, and send."""
    sent = {**FORM, "csrfmiddlewaretoken": token_of(strict, page)}
    if ends == "session":
        Session.objects.all().delete()
    else:
        sign_in(strict, "oda")
    return strict.post(page, sent, headers={"referer": f"http://testserver{page}", **headers})


@pytest.fixture
def strike(strict: Client) -> str:
    somebody("oda")
    sign_in(strict, "oda")
    return f"/rounds/defects/{DefectFactory().pk}/strike/"


@pytest.mark.parametrize("ends", ["session", "token"])
def test_the_form_comes_back_filled_and_is_not_sent_by_itself(strict: Client, strike: str, ends: str) -> None:
    answer = typed_in_vain(strict, strike, ends)
    if ends == "session":
        assert answer["Location"] == f"/sign-in/?next={strike}"
        assert "you find it filled in again" in strict.get(answer["Location"]).content.decode()
        assert sign_in(strict, "oda", strike) == strike
    else:
        assert answer["Location"] == strike
    shown = strict.get(strike).content.decode()
    assert 'value="the hinge squeals"' in shown and "It is not sent" in shown
    assert Defect.objects.not_cured().exists()
    answer = strict.post(strike, {**FORM, "csrfmiddlewaretoken": token_of(strict, strike)})
    assert answer.status_code == 302 and not Defect.objects.not_cured().exists()
    assert not KeptForm.objects.exists()


def test_somebody_else_on_the_device_does_not_see_the_words(strict: Client, strike: str) -> None:
    typed_in_vain(strict, strike, "session")
    somebody("ilse")
    sign_in(strict, "ilse", strike)
    assert "squeals" not in strict.get(strike).content.decode()
    strict.post("/sign-out/", {"csrfmiddlewaretoken": token_of(strict, strike)})
    sign_in(strict, "oda", strike)
    assert "squeals" in strict.get(strike).content.decode()


def test_a_page_of_somebody_who_signed_out_gives_its_words_to_that_person_alone(strict: Client, strike: str) -> None:
    old = token_of(strict, strike)
    strict.post("/sign-out/", {"csrfmiddlewaretoken": old})
    somebody("ilse")
    sign_in(strict, "ilse", strike)
    answer = strict.post(
        strike, {**FORM, "csrfmiddlewaretoken": old}, headers={"referer": f"http://testserver{strike}"}
    )
    assert answer.status_code == 403 and "squeals" not in answer.content.decode()
    assert "squeals" not in strict.get(strike).content.decode()
    assert KeptForm.objects.get().user.username == "oda"


def test_a_form_with_a_foreign_token_is_never_kept(strict: Client, strike: str) -> None:
    answer = strict.post(strike, {**FORM, "csrfmiddlewaretoken": "x" * 64})
    assert answer.status_code == 403 and not KeptForm.objects.exists()


def test_a_part_of_a_page_sends_the_whole_page_back_filled(strict: Client, strike: str) -> None:
    answer = typed_in_vain(strict, strike, "token", **{"HX-Request": "true"})
    assert answer["HX-Redirect"] == strike and "squeals" in strict.get(strike).content.decode()


def test_passwords_are_not_kept_and_neither_is_what_is_far_too_long(strict: Client, strike: str) -> None:
    user = User.objects.get(username="oda")
    kept = keep(user, page=strike, address=strike, fields={"why": ["x"], "password": ["s"], "new_password1": ["s"]})
    assert kept and kept.fields == {"why": ["x"]}
    assert keep(user, page=strike, address=strike, fields={"why": ["x" * 70_000]}) is None
    assert keep(user, page=strike, address=strike, fields={"password": ["s"]}) is None


def test_after_a_shift_the_words_are_forgotten(strict: Client, strike: str, monkeypatch: pytest.MonkeyPatch) -> None:
    typed_in_vain(strict, strike, "session")
    later = clock.now() + timedelta(hours=9)
    monkeypatch.setattr("plant.clock.now", lambda: later)
    sign_in(strict, "oda", strike)
    assert "squeals" not in strict.get(strike).content.decode()
    assert forget_old() == 1


def test_a_file_must_be_chosen_again(strict: Client, strike: str) -> None:
    user = User.objects.get(username="oda")
    keep(user, page=strike, address=strike, fields={"why": ["x"]}, has_file=True)
    sign_in(strict, "oda", strike)
    assert "The file must be chosen again" in strict.get(strike).content.decode()
