"""The page of words, and that every word of a choice on the screens stands there."""

import ast
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

from maintenance.kilns.morning import STATE_WORDS
from plant.kilns.calculations.kiln_state import KilnState
from plant.pictures import end_view
from plant.pictures.marks import MARKS
from plant.words import table as words
from tests.factories import UserFactory

APPS = ("plant", "inventory", "maintenance")
BESIDE = settings.FIXTURES_DIR / "words"
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
    "EntryAlarm.Act": "what followed an alarm",
    "EntryAlarm.Source": "what raised an alarm",
    "Component.Side": "side of a kiln",
    "Fitting.Removal": "why a fitting came out",
    "Charge.Basis": "basis of a charge's dates",
    "ChargeWord.What": "what was told of a charge",
    "ChargeClaim.Answer": "answer to another source",
    "SourceToken.Purpose": "what a token is for",
    "ClimateSign.Kind": "sign in the readings",
    "ClimateSign.Answer": "answer to the readings",
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
    "Defect.Likelihood": "how soon a defect gets worse",
    "ProofTest.Outcome": "outcome of a proof test",
    "StandingTask.Unit": "interval",
    "StandingTask.MonthEnd": "end of the month",
    "StandingTask.Reset": "reset of a recurring task",
    "WorkOrder.State": "state of a work order",
    "WorkOrder.Origin": "origin of a work order",
    "EntryPermit.Act": "entry permit",
    "EntryMove.Act": "entry permit",
    "LetIn.Act": "let in",
    "DateOrder": "order of a date",
    "PriceOfWaiting.Loss": "what a defect loses",
    "PriceOfWaiting.Bound": "bound of a price of waiting",
    "Channel.Quantity": "quantity of a channel",
    "ReadingSource.Way": "way of readings",
    "Watch.Severity": "what a watch does",
    "Firing.Verdict": "whether a watch was right",
    "ChamberTest.Kind": "test of a chamber",
    "Plan.State": "state of a plan",
    "FilesBrought.State": "state of files that were brought",
    "FilesBrought.TakenOut": "charge that was taken out",
    "Kind": "what is supposed",
    "ChamberTest.Fans": "fans in a test of a chamber",
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
    marks = {(str(word), "finding") for word in (mark.word for mark in MARKS.values())}
    numbers = {(str(name), "number in the end view") for name in end_view.NUMBER_NAMES.values()}
    assert sorted((kiln | marks | numbers) - terms()) == []


def test_every_page_of_the_frame_stands_there() -> None:
    frame = FRAME.read_text(encoding="utf-8")
    links = re.findall(r"(?:place [^%]*%}|<a href=\"{% url 'plant:[^>]*>){% translate \"([^\"]+)\" %}", frame)
    assert len(links) >= 9
    assert sorted({(name, "page") for name in links} - terms()) == []


# A tag in a template: what it says stands between its ends, without any tag inside.
TEMPLATE_TAG = re.compile(r'class="tag(?:\s[^"]*)?">(.*?)</span>', re.DOTALL)
TRANSLATED = re.compile(
    r"{% translate [\"']([^\"']+)[\"'] %}|{% blocktranslate[^%]*%}(?:.*?{% plural %})?(.*?){% endblocktranslate %}",
    re.DOTALL,
)
GAP = re.compile(r"{{.*?}}|%\(\w+\)[sd]|%[sd]")
TRAILING_GAP = re.compile(r":? …$")
SAYING = {"_", "gettext", "gettext_lazy", "ngettext"}


def marks_in_templates() -> Iterator[str]:
    """What the tags of all templates say, with a gap for what changes; the labels of choices are held above."""
    for app in (*APPS, "config"):
        for template in (settings.BASE_DIR / app).rglob("*.html"):
            for inside in TEMPLATE_TAG.findall(template.read_text(encoding="utf-8")):
                for plain, with_gaps in TRANSLATED.findall(inside):
                    yield " ".join(GAP.sub("…", plain or with_gaps).split())


def said_in(function: ast.AST) -> Iterator[str]:
    """The last text of each translation in a function: of singular and plural the plural."""
    for call in ast.walk(function):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in SAYING:
            texts = [one.value for one in call.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
            yield GAP.sub("…", texts[-1])


def called_in(code: ast.AST) -> set[str]:
    return {call.func.id for call in ast.walk(code) if isinstance(call, ast.Call) and isinstance(call.func, ast.Name)}


def is_tag(call: ast.Call) -> bool:
    return isinstance(call.func, ast.Name) and call.func.id == "Tag"


def marks_in_code() -> Iterator[str]:
    """What the functions that make a Tag say, and the functions of the same module that a Tag asks for its words."""
    for app in APPS:
        for module in (settings.BASE_DIR / app).rglob("*.py"):
            tree = ast.parse(module.read_text(encoding="utf-8"))
            functions = {one.name: one for one in tree.body if isinstance(one, ast.FunctionDef)}
            for function in functions.values():
                tags = [one for one in ast.walk(function) if isinstance(one, ast.Call) and is_tag(one)]
                if tags:
                    asked = set().union(*map(called_in, tags))
                    for one in (function, *(functions[name] for name in sorted(asked & functions.keys()))):
                        yield from said_in(one)


def test_every_mark_that_templates_and_code_put_on_something_stands_there() -> None:
    marks = {TRAILING_GAP.sub("", mark) for mark in (*marks_in_templates(), *marks_in_code())}
    assert {"opening now", "Order … today", "Late by … days", "Enough", "overdue", "bars entry"} <= marks
    known = {term.casefold() for term, _ in terms()}
    missing = sorted(mark for mark in marks if mark.casefold() not in known)
    assert not missing, f"give these marks a row with the context “mark” in words.csv: {missing}"
    shown = {mark.casefold() for mark in marks}
    assert [term for term, context in sorted(terms()) if context == "mark" and term.casefold() not in shown] == []


def test_no_word_stands_twice_in_one_context_and_standards_name_their_clause() -> None:
    table = words.all_words()
    assert len({(word.term, word.context) for word in table}) == len(table)
    assert [word.term for word in table if word.origin == "standard" and not word.clause] == []
    assert [word.term for word in table if not word.meaning.strip()] == []


@pytest.mark.django_db
def test_the_page_groups_the_words_by_what_a_reader_looks_for_and_finds_some(client: Client) -> None:
    client.force_login(UserFactory(role="auditor"), backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/words/").content.decode()
    assert page.count('<details class="words-group"') == len(words.by_group(words.all_words()))
    assert page.index("In the chamber") < page.index("Entry and safety") < page.index("Figures of the report")
    found = client.get("/words/", {"q": "WICK"})
    assert 0 < found.context["count"] < 20
    assert "wick" in found.content.decode()
    assert "No word tells of that" in client.get("/words/", {"q": "<zeppelin>"}).content.decode()


def test_every_word_has_its_group_and_both_tables_beside_it_name_words_that_there_are() -> None:
    assert [word.term for word in words.all_words() if word.group == words.OTHER and word.context != "mark"] == []
    contexts = {context for _, context in terms()}
    for row in words._rows(BESIDE / "groups.csv", "group context terms"):
        assert row["context"] in contexts
        assert {(term, row["context"]) for term in words._split(row["terms"])} <= terms()
    also = words._rows(BESIDE / "also_called.csv", "term context also is_linked")
    assert {(row["term"], row["context"]) for row in also} <= terms()
    assert len({word.anchor for word in words.all_words()}) == len(words.all_words())


@pytest.mark.parametrize(
    ("called", "term"),
    [
        ("alarm", "watch"),
        ("vent", "exhaust flap"),
        ("wafer", "EMC plate"),
        ("set point", "wet-bulb set point"),
        ("storeroom", "Stores"),
        ("standing task", "recurring task"),
        ("MTTR", "mean time to restoration"),
        ("cured", "mended"),
    ],
)
def test_a_word_is_found_by_what_the_trade_or_yesterday_calls_it(called: str, term: str) -> None:
    assert term in [word.term for word in words.all_words() if word.is_called(called)]


def test_no_clause_is_cited_of_an_edition_that_nobody_read() -> None:
    assert [word.term for word in words.all_words() if re.search(r"13306:\d+, \d", word.clause)] == []


@pytest.mark.django_db
def test_words_that_a_newcomer_may_not_know_are_given_to_every_page(client: Client) -> None:
    client.force_login(UserFactory(role="technician"), backend="django.contrib.auth.backends.ModelBackend")
    given = client.get("/words/linked.json").json()["words"]
    assert {"reorder point", "lock-out", "EMC"} <= {term for term, _, _ in given}
    page = client.get("/words/").content.decode()
    assert [anchor for _, anchor, _ in given if f'id="{anchor}"' not in page] == []
    assert 'data-words="/words/linked.json"' in page


def test_a_table_with_an_unknown_origin_is_refused(tmp_path: Path) -> None:
    faulty = tmp_path / "words.csv"
    for name in ("groups.csv", "also_called.csv"):
        (tmp_path / name).write_bytes((BESIDE / name).read_bytes())
    faulty.write_text("term,context,meaning,origin,clause\nwick,trade,wet,hearsay,\n", encoding="utf-8")
    with pytest.raises(ImproperlyConfigured, match="hearsay"):
        words._read(faulty)
