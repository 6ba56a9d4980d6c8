"""What people read is translated, and what is stored can be said in every language: found in two pseudo languages."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

import pytest
from django.test import Client

from maintenance.recurring.calculations.resets import PRACTICES
from maintenance.watches.specs import shipped_specs
from plant.access import Role, access_table
from tests.demo_mill import addresses, other_states, set_up_demo, somebody
from tests.factories import MillFactory
from tests.known_data import WORD, Known, known_texts, stored_texts
from tests.pseudo_languages import READ, WRITTEN, spoken
from tests.test_access_walk import ADDRESSES, BACKEND, signed_in, things, url_of
from tests.visible_texts import VisibleTexts

__all__ = ["things"]

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

#: Signs of units, which are the same in every language.
SIGNS: Final = frozenset({"A", "C", "F", "K", "MW", "W", "h", "kW", "kWh", "m", "mA", "mm", "s"})
#: Names of the product and what the walk itself typed into an address.
TYPED: Final = ("Kilnward", "seal")
#: Names of values in a sentence that somebody writes.
GAP: Final = re.compile(r"\{\w+\}")

HISTORY: Final = "The history keeps figures by the names of their columns; figure_name() says these."

#: Columns that still hold sentences as text -> why. What no longer does is struck off: the test asks for it.
STILL_TEXT: Final[Mapping[str, str]] = {
    "maintenance.WorkOrder.title": "A title may be altered by hand: a work order of a check has one to begin with.",
    "maintenance.Watch.source": "Where a watch's numbers come from may be written by hand.",
}

#: What pages still show in English -> why. What no longer does is struck off: the test asks for it.
STILL_ENGLISH: Final[Mapping[str, str]] = {
    r"^(state|kiln state|locked out by|inside|ends in|mill): |^Plan$": HISTORY,
}


@pytest.fixture
def mill(settings: Any, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The demo mill, set up in one of the languages, and the addresses of its pages."""
    with spoken(WRITTEN, settings):
        set_up_demo(settings, monkeypatch)
        return [*addresses(), *other_states()]


@pytest.fixture
def little_mill(settings: Any, request: pytest.FixtureRequest) -> list[tuple[str, str]]:
    """A mill with one of everything, set up in one of the languages, and (act, address) of its pages."""
    with spoken(WRITTEN, settings):
        known = request.getfixturevalue("things")
        return [(address.act, url_of(address, known)) for address in ADDRESSES if address.act]


class Walk:
    """Looks at pages for words that are not marked for translation."""

    def __init__(self) -> None:
        # The catalogue is data once it is loaded; so is what of it no kiln has, and where a rule was published.
        catalogue = [*(one.name for one in shipped_specs()), *(one.source for one in PRACTICES)]
        self.known = Known([*known_texts(), *TYPED, *catalogue])
        self.kept_as_text = {
            word.lower() for _column, text in texts_in_words() for word in WORD.findall(text) if WRITTEN.writes(word)
        }
        self.seen: set[str] = set()
        # Papers and files of figures take long, and are the same for everybody.
        self.other_files: set[str] = set()
        self.found: dict[str, str] = {}

    def other_words(self, text: str) -> list[str]:
        """Return the words of a text that are no data, no signs, and not in the language in which pages are read."""
        left = self.known.other_words(GAP.sub("", text))
        return [w for w in left if not (w in SIGNS or READ.writes(w) or w.lower() in self.kept_as_text)]

    def look(self, client: Client, urls: list[str], who: str) -> int:
        """Look at every address that answers with a page or a part of one; return how many do."""
        pages = 0
        for url in urls:
            if url in self.other_files:
                continue
            answer = client.get(url)
            if answer.status_code != 200:
                continue
            if not answer["Content-Type"].startswith("text/html"):
                self.other_files.add(url)
                continue
            pages += 1
            for text in VisibleTexts(answer.content.decode()).texts:
                if text not in self.seen and self.other_words(text):
                    self.found[text] = f"{who} {url}"
                self.seen.add(text)
        return pages

    def left(self) -> list[str]:
        """Return what is neither marked nor on the list of what is still to be done."""
        said = sorted(self.found.items())
        return [f"{where}: {text}" for text, where in said if not any(re.search(one, text) for one in STILL_ENGLISH)]


def texts_in_words() -> Iterator[tuple[str, str]]:
    """Yield (column, text) of what was put into words when it was stored."""
    for column, text in stored_texts():
        if any(map(WRITTEN.writes, text)):
            yield column, text


def test_what_is_stored_can_be_said_in_every_language(mill: list[str]) -> None:
    texts = dict(texts_in_words())
    said = [f"{column}: {text[:100]}" for column, text in texts.items() if column not in STILL_TEXT]
    assert not said, "Store these as sentences (plant/frame/README.md):\n" + "\n".join(said)
    assert sorted(set(STILL_TEXT) - set(texts)) == [], "Strike these off: they hold no sentence as text any more."


def test_every_word_on_a_page_of_the_demo_is_data_or_marked_for_translation(mill: list[str], settings: Any) -> None:
    walk, client = Walk(), Client()
    client.force_login(somebody(Role.ADMINISTRATOR), backend=BACKEND)
    with spoken(READ, settings):
        assert walk.look(client, mill, "demo") > 100
    assert not walk.left(), "Mark these for translation:\n" + "\n".join(walk.left())
    needed = {one for one in STILL_ENGLISH if any(re.search(one, text) for text in walk.found)}
    assert sorted(set(STILL_ENGLISH) - needed) == [], "Strike these off: no page shows them in English any more."


def test_every_word_that_a_role_reads_is_data_or_marked_for_translation(
    little_mill: list[tuple[str, str]], settings: Any
) -> None:
    visitors = {role: signed_in(role) for role in Role.values}
    walk = Walk()
    with spoken(READ, settings):
        for role, client in visitors.items():
            assert walk.look(client, [url for act, url in little_mill if role in access_table()[act]], role) > 10
    assert not walk.left(), "Mark these for translation:\n" + "\n".join(walk.left())


def test_the_walk_finds_what_is_not_marked(db: None) -> None:
    MillFactory(name="Fan motor 2")
    page = f"""<html lang="la"><body title="Stops"><p>{READ.gettext("It stops.")} Fan motor 2</p><p>Fan motor</p>
      <code>kilns/#</code><p lang="en">in English</p><svg><title>Fan motor 24</title></svg>
      <input type="submit" value="Send"></body></html>"""
    texts = [text for text in VisibleTexts(page).texts if Walk().other_words(text)]
    assert texts == ["Stops", "Fan motor", "Fan motor 24", "Send"]


def test_gaps_and_marks_stay_as_they_are_in_a_pseudo_language() -> None:
    text = "<b>%(count)s of {total}</b> &amp; %.1f h, 50 %% of it"
    assert READ.gettext(text) == "<b>%(count)s óƒ {total}</b> &amp; %.1f ĥ, 50 %% óƒ íť"
    assert READ.ngettext("%d job", "%d jobs", 2) % 2 == "2 ĵóƀś"
