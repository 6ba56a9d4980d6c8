"""Each page says in one line what it is for, folded where its reader has folded it before."""

import re

import pytest
from django.conf import settings
from django.test import Client

from plant.models import User
from plant.words.purposes import purposes
from tests.pictures import LARGEST_BYTES
from tests.test_access_walk import ADDRESSES, signed_in, things, url_of

__all__ = ["things"]
PAGE = 'id="content"'


def test_every_page_says_what_it_is_for(things: dict[str, dict[str, object]]) -> None:
    client, silent, seen = signed_in("administrator"), [], 0
    for address in ADDRESSES:
        answer = client.get(url_of(address, things)) if address.act else None
        if answer is None or answer.status_code != 200 or "html" not in answer["Content-Type"]:
            continue
        page = answer.content.decode()
        if PAGE in page:
            seen += 1
            if '<details class="purpose"' not in page:
                silent.append(address.name)
    assert silent == [], "give these pages a row in fixtures/words/purposes.csv"
    assert seen > 80


def test_a_purpose_is_one_line_of_a_page_that_there_is() -> None:
    names = {address.name for address in ADDRESSES}
    assert sorted(set(purposes()) - names) == []
    assert [page for page, line in purposes().items() if not re.fullmatch(r"[A-Z].{10,125}\.", line)] == []


@pytest.mark.django_db
def test_a_purpose_that_somebody_folded_stays_folded_for_that_person_alone() -> None:
    oda, per = signed_in("planner"), signed_in("technician")
    assert 'class="purpose" data-page="plant:words"' in oda.get("/words/").content.decode()
    assert is_open(oda)
    assert oda.post("/purposes/known/", {"page": "plant:words", "known": "yes"}).status_code == 204
    assert not is_open(oda)
    assert is_open(per)
    oda.post("/purposes/known/", {"page": "plant:words", "known": "no"})
    assert is_open(oda)


@pytest.mark.django_db
def test_only_pages_are_remembered() -> None:
    oda = signed_in("planner")
    assert oda.post("/purposes/known/", {"page": "x" * 10_000, "known": "yes"}).status_code == 404
    assert User.objects.get(username="is-planner").known_pages == []


@pytest.mark.django_db
def test_help_is_in_the_frame_with_emergency_words_and_version() -> None:
    client = signed_in("auditor")
    assert 'href="/help/"' in client.get("/words/").content.decode()
    page = client.get("/help/").content.decode()
    assert page.index("Somebody is in danger in a kiln") < page.index("How a day begins")
    assert "it cannot stop a kiln" in page
    assert re.search(r"Kilnward \d+\.\d+\.\d+", page)
    assert 'href="/words/"' in page


def is_open(client: Client) -> bool:
    found = re.search(r'<details class="purpose"[^>]*>', client.get("/words/").content.decode())
    assert found
    return found[0].endswith(" open>")


def test_the_pictures_of_the_readme_are_there_and_small() -> None:
    readme = (settings.BASE_DIR / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^\]]{20,}\]\((fixtures/pictures/[a-z]+\.png)\)", readme)
    assert len(shown) == 3
    assert all((settings.BASE_DIR / path).stat().st_size <= LARGEST_BYTES for path in shown)
