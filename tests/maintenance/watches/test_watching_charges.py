"""Figures of charges: kept when a phase ends, made up when readings or dates come late, and watched."""

from datetime import timedelta

import pytest

from maintenance.models import Firing, Watch, WorkOrder
from maintenance.watches.calculations.charge_rules import Seen, seen_in_charges
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.firing import Looked
from maintenance.watches.looking import look_around, look_at_charges
from maintenance.watches.resets import begin_anew
from maintenance.watches.specs import shipped_specs
from maintenance.watches.words import Heard, heard_of, sentence
from plant.basics.periods import from_epoch_s
from plant.frame.saying import say, saying_for
from plant.models import Charge, ChargeFigure, Kiln
from plant.readings.charge_figures import keep_figures, usual_of
from tests.factories import ChargeFactory, WorkOrderFactory
from tests.maintenance.watching_mill import MONDAY_S, a_watch, a_watched_kiln, looked, ship, stand_at, write

pytestmark = pytest.mark.django_db
HOUR_S = 3600
HEATING_S = MONDAY_S + 2 * HOUR_S
KEYS = ("air_temperature:left", "set_air_temperature")


@pytest.fixture(autouse=True)
def _next_week(monkeypatch: pytest.MonkeyPatch) -> None:
    ship(monkeypatch)
    stand_at(monkeypatch, MONDAY_S + 7 * 86_400)


def heating_up(kiln: Kiln, hours: float, first: int = 0, last: int = 8 * 60 + 30) -> int:
    """Write readings every minute, of some minutes: 20 to 60 degrees within so many hours, then steady."""
    return write(
        kiln,
        HEATING_S + 60 * first,
        last - first,
        air_temperature__left=lambda minute: min(60, 20 + 40 * (first + minute) / (60 * hours)),
        set_air_temperature=60,
    )


def figure(code: str = "heat_up_h") -> float | None:
    return ChargeFigure.objects.get(code=code).value


def test_the_heat_up_time_is_kept_once_the_heating_up_is_over() -> None:
    kiln = a_watched_kiln(*KEYS)
    Charge.objects.update(basis="running")
    heated_s = heating_up(kiln, 5, last=420)
    assert keep_figures(kiln, HEATING_S, heated_s) == []
    until_s = heating_up(kiln, 5, first=420)
    assert keep_figures(kiln, heated_s + 60, until_s)
    found = figure()
    assert found
    assert abs(found - 5) < 0.3
    assert set(ChargeFigure.objects.values_list("code", flat=True)) == {"heat_up_h"}
    # The next readings are of no interest to it.
    assert keep_figures(kiln, until_s + 60, until_s + 600) == []


def test_a_phase_that_ended_between_two_deliveries_is_not_missed() -> None:
    kiln = a_watched_kiln(*KEYS)
    Charge.objects.update(basis="running")
    before_s = heating_up(kiln, 5, last=470)
    assert keep_figures(kiln, HEATING_S, before_s) == []
    after_s = heating_up(kiln, 5, first=485)
    assert keep_figures(kiln, HEATING_S + 485 * 60, after_s)


def test_all_figures_are_kept_when_the_charge_has_run_and_again_when_readings_come_late() -> None:
    kiln = a_watched_kiln(*KEYS)
    heating_up(kiln, 5)
    ran_s = MONDAY_S + 5 * 86_400 - 2 * HOUR_S
    write(kiln, ran_s - HOUR_S, 90, air_temperature__left=40, set_air_temperature=40)
    assert len(keep_figures(kiln, ran_s - 60, ran_s + 60)) == 1
    why = dict(ChargeFigure.objects.values_list("code", "why_not"))
    assert why["heat_up_h"] == ()
    assert "usable readings" in say(why["dry_minus_set_k"])
    write(kiln, MONDAY_S + 20 * HOUR_S, 300, air_temperature__left=61, set_air_temperature=60)
    assert len(keep_figures(kiln, MONDAY_S + 20 * HOUR_S, MONDAY_S + 25 * HOUR_S)) == 1
    assert (figure("dry_minus_set_k") or 0) > 0.8
    before = list(ChargeFigure.objects.order_by("code").values_list("code", "value", "why_not"))
    keep_figures(kiln, MONDAY_S + 20 * HOUR_S, MONDAY_S + 25 * HOUR_S)
    assert list(ChargeFigure.objects.order_by("code").values_list("code", "value", "why_not")) == before


def test_a_charge_whose_dates_were_entered_after_its_readings_is_made_up() -> None:
    kiln = a_watched_kiln(*KEYS)
    kiln.charges.all().delete()
    looked(kiln, heating_up(kiln, 5))
    assert not ChargeFigure.objects.exists()
    ChargeFactory(kiln=kiln, basis="done")
    look_around()
    assert figure()


def test_what_is_usual_for_fans_is_the_median_of_the_last_charges() -> None:
    kiln = a_watched_kiln()
    charge = kiln.charges.get()
    for code, value in (("fan_current_left:1", 12.0), ("fan_current_right:1", 11.0), ("fan_current_left:2", 9.0)):
        charge.figures.create(code=code, value=value)
    assert usual_of(kiln, MONDAY_S + 6 * 86_400).fan_current_a == {"1": (12.0, 11.0)}
    assert usual_of(kiln, MONDAY_S).fan_current_a == {}


# rules over charges


def with_figures(kiln: Kiln, code: str, values: list[float]) -> int:
    """Charges of a week each with a figure; return when the last one had run."""
    kiln.charges.all().delete()
    begin_at = from_epoch_s(MONDAY_S)
    for value in values:
        ChargeFactory(kiln=kiln, basis="done", begin_at=begin_at, days=6).figures.create(code=code, value=value)
        begin_at += timedelta(days=7)
    return int(begin_at.timestamp())


STEADY = [0.1, -0.1, 0.05, -0.05, 0.0, 0.1, -0.1, 0.0]


def test_a_drift_gives_a_hint_goes_on_and_is_over_once_it_was_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln("air_temperature:left", "air_temperature:right", "wet_bulb:left", "wet_bulb:right")
    watch = a_watch(kiln, "wet-drift")
    until_s = with_figures(kiln, "wet_left_right_k", [*STEADY, *[1.0] * 6])
    stand_at(monkeypatch, until_s)
    for _time in range(2):
        look_at_charges(kiln, until_s, Looked())
    firing = Firing.objects.get()
    assert firing.is_notice
    assert firing.end_at is None
    assert [number for number, _at, _value in firing.picture["charges"]][-1] == kiln.charges.all()[9].number
    order = WorkOrderFactory(kiln=kiln, origin="watch")
    Firing.objects.update(work_order=order)
    begin_anew(order)
    firing.refresh_from_db()
    assert firing.end_at == from_epoch_s(until_s)
    look_at_charges(kiln, until_s, Looked())
    assert Firing.objects.count() == 1
    assert Watch.objects.get(pk=watch.pk).carried == {"resets_s": [until_s]}


def test_a_trend_says_the_day_and_a_late_figure_does_not_raise_it_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    kiln = a_watched_kiln(*KEYS)
    a_watch(kiln, "slower")
    until_s = with_figures(kiln, "heat_up_h", [8 + 0.2 * number + 0.05 * (number % 3) for number in range(14)])
    stand_at(monkeypatch, until_s)
    look_at_charges(kiln, until_s, Looked())
    firing = Firing.objects.get()
    ChargeFigure.objects.filter(charge__begin_at=from_epoch_s(MONDAY_S)).update(value=8.1)
    look_at_charges(kiln, until_s, Looked())
    assert Firing.objects.get().begin_at == firing.begin_at
    assert not WorkOrder.objects.exists()


def test_a_sentence_about_a_fall_names_it_without_a_sign() -> None:
    kiln = a_watched_kiln()
    spec = next(one for one in shipped_specs() if one.code == "heat-weaker")
    told = sentence(spec, Heard(-25.0, MONDAY_S, charges=6))
    with saying_for(kiln.mill):
        said = say(told)
    assert said == "Over 6 charges the open heating valve gives 25 kW less than was usual."


def test_the_day_on_which_a_trend_crosses_is_the_mills() -> None:
    late_s = MONDAY_S - MONDAY_S % 86_400 + 23 * 3600 + 1800
    seen = Seen(MONDAY_S, MONDAY_S, None, 4.0, charges=8, crosses_s=late_s)
    # Half past eleven in the evening UTC is the day after in Stockholm.
    assert heard_of(seen, a_watched_kiln().mill).crosses_on == from_epoch_s(late_s).date() + timedelta(days=1)


def test_a_reset_forgets_the_lean_but_not_what_is_usual() -> None:
    ends = [86_400 * number for number in range(1, 21)]
    rule = Drift("cusum", least_charges=5, baseline_charges=8, least_sd=0.1)
    (first,) = seen_in_charges(rule, ends, [*STEADY, *[1.0] * 12])
    assert first.end_s is None
    mended = seen_in_charges(rule, ends, [*STEADY, *[1.0] * 6, *[0.0] * 6], [ends[13]])
    assert [one.end_s for one in mended] == [ends[13]]
    again = seen_in_charges(rule, ends, [*STEADY, *[1.0] * 12], [ends[13]])
    assert len(again) == 2
    assert again[1].begin_s > ends[13]


def test_a_trend_is_over_when_it_no_longer_leads_to_its_limit() -> None:
    ends = [7 * 86_400 * number for number in range(1, 31)]
    values = [8 + 0.2 * min(number, 14) + 0.05 * (number % 3) for number in range(30)]
    seen = seen_in_charges(Trend("above", 12, least_charges=8, charges=10), ends, values)
    assert len(seen) == 1
    assert seen[0].end_s is not None
    assert seen[0].crosses_s
