"""What is kept as a code with values comes back as it was, and is said in the mill's time zone and units."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils.translation import gettext_lazy, ngettext_lazy

from plant.basics.sentences import (
    Sentence,
    all_from_json,
    all_to_json,
    from_json,
    sentences,
    to_json,
    typed,
)
from plant.frame import saying
from plant.frame.saying import say, say_kept, saying_for
from plant.models import Change, Mill
from plant.templatetags.said import said
from tests.factories import MONDAY, KilnFactory, MillFactory

PATTERNS = {
    "test.all": gettext_lazy("%(job)s begins %(start_at)s at the earliest."),
    "test.short": ngettext_lazy("%(count)s part is short.", "%(count)s parts are short.", "count"),
    "test.because": gettext_lazy("Not sooner: %(causes)s."),
    "test.clause": gettext_lazy("%(kiln)s is loaded"),
    "test.crew": gettext_lazy("Done by %(people)s."),
}


@pytest.fixture
def _patterns(monkeypatch: pytest.MonkeyPatch) -> None:
    acts = {"act.counted": "counted"}
    monkeypatch.setattr(saying, "patterns", lambda: {**saying.OWN, **PATTERNS, **acts})


@pytest.fixture
def mill() -> Mill:
    return MillFactory.build(time_zone="Europe/Stockholm", currency="SEK", temperature_unit="degC")


def show(mill: Mill, name: str, value: Any) -> str:
    with saying_for(mill):
        return str(saying._say_value(name, Sentence.of("test.all", **{name: value})[name]))


def test_every_kind_of_value_comes_back_from_json() -> None:
    told = Sentence.of(
        "test.all",
        job="WO-1",
        start_at=MONDAY,
        due_on=date(2026, 3, 4),
        missing=Decimal("1.50"),
        count=3,
        share=0.25,
        is_safety=True,
        people=["Ada", "Bo"],
        inner=Sentence.of("test.clause", kiln="K1"),
        causes=[Sentence.of("test.clause", kiln="K1"), Sentence.of("test.clause", kiln="K2")],
    )
    assert from_json(to_json(told)) == told
    assert str(from_json(to_json(told))["missing"]) == "1.50"


@pytest.mark.parametrize("value", [None, MONDAY.replace(tzinfo=None), gettext_lazy("words"), timedelta(1), {"a": 1}])
def test_what_could_not_be_kept_is_refused(value: Any) -> None:
    with pytest.raises(TypeError):
        Sentence.of("test.all", job=value)


def test_text_is_no_sentence_unless_somebody_typed_it() -> None:
    with pytest.raises(TypeError):
        sentences("They ran out.")  # type: ignore[arg-type]
    assert say(typed("They ran out.")) == "They ran out."
    assert typed("") == ()


def test_text_that_an_earlier_version_kept_is_said_as_it_was() -> None:
    assert say_kept("Its crew is 50 % away.") == said("Its crew is 50 % away.") == "Its crew is 50 % away."
    assert all_from_json("") == ()


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("start_at", datetime(2026, 3, 2, 6, tzinfo=UTC), "Mon 2 Mar, 07:00"),
        ("start_at", datetime(2027, 7, 1, 6, tzinfo=UTC), "Thu 1 Jul 2027, 08:00"),
        ("start_clock", datetime(2026, 3, 2, 6, tzinfo=UTC), "07:00"),
        ("due_on", date(2026, 3, 4), "4 Mar 2026"),
        ("due_on", datetime(2026, 3, 4, 23, 30, tzinfo=UTC), "5 Mar 2026"),
        ("length_min", 45, "45 min"),
        ("length_min", 150, "2 h 30"),
        ("worked_h", Decimal("2.50"), "2.5 h"),
        ("limit_c", 35, "35 °C"),
        ("dried_m3", Decimal("8.25"), "8.3 m³"),
        ("dried_m3", 1250, "1,250 m³"),
        ("filled_pct", 12.34, "12.3 %"),
        ("lost_share", 0.125, "12.5 %"),
        ("price_cents", 123456, "1,235 SEK"),
        ("price_cents", 250, "2.50 SEK"),
        ("price_money", Decimal(7), "7 SEK"),
        ("missing", Decimal("2.500"), "2.5"),
        ("is_safety", True, "yes"),
        ("people", ("Ada", "Bo"), "Ada, Bo"),
    ],
)
def test_values_are_said_by_the_ending_of_their_name(
    mill: Mill, monkeypatch: pytest.MonkeyPatch, settings: Any, name: str, value: Any, words: str
) -> None:
    settings.KILNWARD_TODAY = "2026-03-02"
    assert show(mill, name, value) == words


def test_units_are_those_of_the_mill(mill: Mill) -> None:
    mill.temperature_unit, mill.volume_unit = Mill.TemperatureUnit.FAHRENHEIT, Mill.VolumeUnit.BOARD_FEET
    assert show(mill, "limit_c", 35) == "95 °F"
    assert show(mill, "dried_m3", 10) == "4,238 board feet"


@pytest.mark.usefixtures("_patterns")
def test_plurals_lists_of_clauses_and_of_sentences() -> None:
    assert say(Sentence.of("test.short", count=1)) == "1 part is short."
    assert say(Sentence.of("test.short", count=1200)) == "1,200 parts are short."
    clauses = [Sentence.of("test.clause", kiln=tag) for tag in ("K1", "K2")]
    assert say(Sentence.of("test.because", causes=clauses)) == "Not sooner: K1 is loaded; K2 is loaded."
    crew = Sentence.of("test.crew", people=["Ada", "Bo"])
    assert say([crew, Sentence.of("test.short", count=2)]) == "Done by Ada, Bo. 2 parts are short."


@pytest.mark.usefixtures("_patterns")
def test_a_row_of_another_version_shows_its_figures_and_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    assert say(Sentence.of("test.gone", count=3)) == "test.gone (3)"
    assert say(Sentence.of("test.crew", count=3)) == "test.crew (3)"
    assert len(caplog.records) == 2


@pytest.mark.django_db
@pytest.mark.usefixtures("_patterns")
def test_a_column_of_sentences_takes_one_or_several_and_gives_them_back() -> None:
    kiln = KilnFactory.create()
    one = Sentence.of("test.short", count=2)
    change = Change.record(kiln, "counted", by=None, said=one, note="Bo looked.")
    assert change.said == (one,)
    assert change.did == "counted" and Change(act="kept by an earlier version").did == "kept by an earlier version"
    kept = Change.objects.get(pk=change.pk)
    assert kept.said == (one,)
    assert kept.words == "2 parts are short. Bo looked."
    assert list(Change.objects.filter(said=[one])) == [change]
    assert Change.record(kiln, "counted", by=None).words == ""
    assert said(all_to_json(kept.said)) == said(kept.said) == "2 parts are short."


@pytest.mark.django_db
def test_text_in_a_column_of_sentences_is_a_fault() -> None:
    with pytest.raises(TypeError):
        Change.record(KilnFactory.create(), "counted", by=None, said="two parts")  # type: ignore[arg-type]
