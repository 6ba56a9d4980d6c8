"""The page of words, and that every word of a choice on the screens stands there."""

import importlib
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db.models import TextChoices
from django.test import Client

from maintenance.morning import STATE_WORDS
from plant import end_view, words
from plant.calculations.kiln_state import KilnState
from tests.factories import UserFactory

APPS = ("plant", "inventory", "maintenance")
FRAME = settings.BASE_DIR / "config" / "templates" / "base.html"
# Each set of choices has the context of its own meaning; a new one is added here with its words.
CONTEXTS = {
    "Role": "role",
    "Job.State": "state of background work",
    "JobAttempt.Outcome": "state of background work",
    "Life": "state of background work",
    "Mill.TemperatureUnit": "unit",
    "Mill.VolumeUnit": "unit",
    "Kiln.HeatingMedium": "heated by",
    "Kiln.Humidifying": "humidified by",
    "Kiln.ClimateSensing": "climate sensed by",
    "ComponentKind.Group": "group in the end view",
    "Component.Side": "side of a kiln",
    "Fitting.Removal": "why a fitting came out",
    "Charge.Basis": "basis of a charge's dates",
    "Phase.Kind": "state of a kiln",
    "Downtime.Kind": "kind of downtime",
    "Part.Criticality": "without the part",
    "PurchaseOrder.State": "state of a purchase order",
    "StockMove.Kind": "stock move",
    "NeedsState": "state of the kiln a job needs",
    "CheckPoint.SeenIn": "where a point can be seen",
    "CheckPoint.Per": "where a point can be seen",
    "CheckPoint.IntervalIs": "interval",
    "CatalogueUnit": "interval",
    "Finding.Result": "finding",
    "Defect.Likelihood": "how likely a defect is to get worse",
    "ProofTest.Outcome": "outcome of a proof test",
    "StandingTask.Unit": "interval",
    "StandingTask.MonthEnd": "end of the month",
    "StandingTask.Reset": "reset of a standing task",
    "WorkOrder.State": "state of a work order",
    "WorkOrder.Origin": "origin of a work order",
    "EntryPermit.Act": "entry permit",
    "DateOrder": "order of a date",
}


def choices() -> Iterator[type[TextChoices]]:
    """Every set of choices of the three apps."""
    for app in APPS:
        for module in pkgutil.walk_packages([str(settings.BASE_DIR / app)], f"{app}."):
            if ".migrations" not in module.name and ".management" not in module.name:
                importlib.import_module(module.name)
    for found in TextChoices.__subclasses__():
        if found.__module__.split(".")[0] in APPS:
            yield found


def terms() -> set[tuple[str, str]]:
    return {(word.term, word.context) for word in words.all_words()}


def test_every_choice_on_the_screens_stands_among_the_words() -> None:
    found = list(choices())
    assert len(found) > 25
    unknown = sorted(one.__qualname__ for one in found if one.__qualname__ not in CONTEXTS)
    assert not unknown, f"give these choices a context here and their words a row in words.csv: {unknown}"
    wanted = {(str(label), CONTEXTS[one.__qualname__]) for one in found for label in one.labels}
    assert sorted(wanted - terms()) == []


def test_the_states_of_a_kiln_and_the_marks_of_the_end_view_stand_there() -> None:
    assert set(STATE_WORDS) == set(KilnState)
    kiln = {(str(word), "state of a kiln") for word in STATE_WORDS.values()}
    marks = {(str(word), "finding") for word in end_view.STATE_WORDS.values()}
    numbers = {(str(name), "number in the end view") for name in end_view.NUMBER_NAMES.values()}
    assert sorted((kiln | marks | numbers) - terms()) == []


def test_every_place_of_the_frame_stands_there() -> None:
    frame = FRAME.read_text(encoding="utf-8")
    links = re.findall(r"(?:place [^%]*%}|<a href=\"{% url 'plant:[^>]*>){% translate \"([^\"]+)\" %}", frame)
    assert len(links) >= 9
    assert sorted({(name, "place") for name in links} - terms()) == []


def test_no_word_stands_twice_in_one_context_and_standards_name_their_clause() -> None:
    table = words.all_words()
    assert len({(word.term, word.context) for word in table}) == len(table)
    assert [word.term for word in table if word.origin == "standard" and not word.clause] == []
    assert [word.term for word in table if not word.meaning.strip()] == []


@pytest.mark.django_db
def test_the_page_groups_the_words_and_finds_some(client: Client) -> None:
    client.force_login(UserFactory(role="auditor"), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/words/").content.decode()
    assert page.count("<section") == len(words.by_context(words.all_words()))
    found = client.get("/words/", {"q": "WICK"})
    assert 0 < found.context["count"] < 20
    assert "wick" in found.content.decode()
    assert "No word tells of that" in client.get("/words/", {"q": "<zeppelin>"}).content.decode()


def test_a_table_with_an_unknown_origin_is_refused(tmp_path: Path) -> None:
    faulty = tmp_path / "words.csv"
    faulty.write_text("term,context,meaning,origin,clause\nwick,trade,wet,hearsay,\n", encoding="utf-8")
    with pytest.raises(ImproperlyConfigured, match="hearsay"):
        words._read(faulty)
