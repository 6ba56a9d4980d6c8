"""A watch tried on the past: the same firings as looking, held against what was on record."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from maintenance.models import Defect, Firing, Watch, WorkOrder
from maintenance.watches.calculations.rule_kinds import Limit
from maintenance.watches.specs import spec_of
from maintenance.watches.trial import TrialResult, try_on_past
from plant.basics.periods import from_epoch_s
from plant.frame.saying import say
from plant.models import Downtime, FailureMode, Kiln
from tests.factories import ChargeFactory
from tests.maintenance.watching_mill import (
    DRYING_S,
    MONDAY_S,
    a_watch,
    a_watched_kiln,
    dry_wick,
    looked,
    ship,
    stand_at,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _saturday(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 5 * 86_400)


def tried(kiln: Kiln, days: int = 5) -> TrialResult:
    return try_on_past(
        Watch.objects.select_related("kiln__mill", "component_kind").get(kiln=kiln, code="wick-dry-left"), days=days
    )


def a_defect(kiln: Kiln, mode: str, at_s: int) -> Defect:
    made: Defect = Defect.objects.create(
        kiln=kiln,
        component=kiln.components.get(),
        failure_mode=FailureMode.objects.get(code=mode),
        what=mode,
        found_at=from_epoch_s(at_s),
    )
    return made


def test_the_trial_sees_what_looking_saw_and_stores_nothing() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    first_s = dry_wick(kiln, after=30)
    until_s = dry_wick(kiln, first_s + 60, sound=20, dry=45)
    result = tried(kiln)
    assert not Firing.objects.exists()
    looked(kiln, until_s)
    seen = list(Firing.objects.order_by("begin_at").values_list("begin_at", "end_at", "worst_value", "sentence"))
    assert [(one.begin_at, one.end_at, one.worst, (one.sentence,)) for one in result.raised] == seen
    assert len(seen) == 2
    assert (result.work_orders, WorkOrder.objects.count()) == (1, 1)


def test_a_firing_is_right_where_its_suspect_was_found_with_what_it_suspects() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln, after=30)
    assert tried(kiln).right == 0
    a_defect(kiln, "fan-stopped", until_s)
    assert tried(kiln).right == 0
    a_defect(kiln, "wick-dry", until_s + 3 * 86_400)
    result = tried(kiln)
    assert (result.right, result.raised[0].proof, result.missed) == (1, "wick-dry", ())


def test_a_stop_of_the_suspect_is_a_proof_as_well() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    at = from_epoch_s(dry_wick(kiln, after=30))
    Downtime.objects.create(
        kiln=kiln,
        component=kiln.components.get(),
        kind="unplanned",
        start_at=at,
        end_at=at + timedelta(hours=1),
        cause="no water",
    )
    assert tried(kiln).raised[0].proof == "no water"


def test_what_no_firing_announced_was_missed() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    dry_wick(kiln, sound=200, dry=0)
    a_defect(kiln, "wick-dry", DRYING_S + 3600)
    result = tried(kiln)
    assert (result.raised, [one.what for one in result.missed]) == ((), ["wick-dry"])


def test_other_numbers_are_tried_before_they_are_saved() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    dry_wick(kiln)
    spec = replace(spec_of(watch), rule=Limit("below", 0.1, 1.5, hold_minutes=40))
    assert try_on_past(watch, days=5).raised
    assert not try_on_past(watch, spec=spec, days=5).raised


def test_the_trial_ends_with_the_last_reading_and_says_how_much_it_knew() -> None:
    kiln = a_watched_kiln()
    watch = a_watch(kiln, "wick-dry-left")
    until_s = dry_wick(kiln, sound=600, dry=0)
    result = try_on_past(watch, days=1)
    assert result.until_at == from_epoch_s(until_s)
    assert result.known_share
    # The first quarter of an hour the air has not settled.
    assert 0.95 < result.known_share < 1


def test_a_trial_without_readings_finds_nothing_and_says_so() -> None:
    kiln = a_watched_kiln()
    a_watch(kiln, "wick-dry-left")
    result = tried(kiln)
    assert (result.raised, result.days, result.known_share) == ((), 5, 0)


def charges_of_heat_up(kiln: Kiln, hours: list[float]) -> datetime:
    """Charges of a week each, with the hours that their heat-up took; return when the last one had run."""
    kiln.charges.all().delete()
    begin_at = from_epoch_s(MONDAY_S)
    for value in hours:
        charge = ChargeFactory(kiln=kiln, basis="done", begin_at=begin_at, days=6)
        charge.figures.create(code="heat_up_h", value=value)
        begin_at += timedelta(days=7)
    return begin_at


def test_a_watch_on_charges_is_tried_on_their_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln("air_temperature:left", "set_air_temperature")
    watch = a_watch(kiln, "slower")
    until = charges_of_heat_up(kiln, [8 + 0.2 * number + 0.05 * (number % 3) for number in range(14)])
    stand_at(monkeypatch, int(until.timestamp()))
    result = try_on_past(watch, days=98, until=until)
    (firing,) = result.raised
    assert result.known_share == 1
    assert "It will pass 12 h about" in say(firing.sentence)
    assert firing.end_at is None
