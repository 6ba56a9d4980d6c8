import math
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.recurring.calculations.meters import (
    Charge,
    Limit,
    MeterHistory,
    MeterRule,
    Reading,
    readings_from_charges,
)
from plant.frame.saying import say

START = date(2026, 1, 1)


def day(number: int) -> date:
    return START + timedelta(days=number)


def hours(*readings: Reading, programme: tuple[Charge, ...] = ()) -> MeterHistory:
    return MeterHistory(Limit.RUNNING_HOURS, readings, programme)


def test_use_is_summed_over_the_segments_of_exchanged_meters() -> None:
    history = hours(
        Reading(day(0), 500), Reading(day(10), 800), Reading(day(10), 20, starts_new_meter=True), Reading(day(20), 120)
    )
    use = history.since(None)
    assert (use.used, use.segments, use.notes) == (400, (300, 100), ())


def test_a_lower_reading_without_exchange_is_noted_and_never_negative() -> None:
    use = hours(Reading(day(0), 500), Reading(day(10), 800), Reading(day(20), 50)).since(None)
    assert use.used == 350
    assert [say(note) for note in use.notes] == [
        "The reading of 21 Jan 2026 (50 h) is lower than the one before (800 h): taken as a new meter that "
        "began at 0. Enter the exchange, or correct the reading.",
    ]


@pytest.mark.parametrize(("value", "used"), [(800.0, 100.0), (795.0, 105.0), (20.0, 100.0), (50.0, 70.0)])
def test_work_on_the_day_of_an_exchange_belongs_to_the_meter_it_fits(value: float, used: float) -> None:
    history = hours(
        Reading(day(0), 500), Reading(day(10), 800), Reading(day(10), 20, starts_new_meter=True), Reading(day(20), 120)
    )
    assert history.since(Reading(day(10), value)).used == used


def test_readings_before_the_work_do_not_count_as_use() -> None:
    history = hours(Reading(day(0), 100), Reading(day(10), 200), Reading(day(20), 350))
    assert history.since(Reading(day(10), 200)).used == 150


def test_the_programme_goes_before_the_mean_rate() -> None:
    programme = (Charge(day(12), day(15), 80, "C7"), Charge(day(18), day(19), 40, "C8"))
    history = hours(Reading(day(0), 0), Reading(day(10), 100), programme=programme)
    forecast = history.forecast(history.since(None))
    # 20 h a day from day 12 to 15 and on days 18 and 19, nothing between; afterwards 10 h a day.
    assert forecast.reached_on(140) == day(13)
    assert forecast.reached_on(200) == day(18)
    assert forecast.reached_on(220) == day(19)
    assert forecast.reached_on(250) == day(22)
    assert say(forecast.says_why(200)) == "from the 2 planned charges (C7 to C8) to 20 Jan 2026"
    assert say(forecast.says_why(250)) == (
        "from the 2 planned charges (C7 to C8) to 20 Jan 2026, then at 10 h a day, "
        "the mean of the readings from 1 Jan 2026 to 11 Jan 2026"
    )


def test_a_charge_under_way_counts_only_its_days_to_come() -> None:
    history = hours(Reading(day(0), 0), programme=(Charge(day(-1), day(2), 40, "C1"),))
    forecast = history.forecast(history.since(None))
    assert forecast.steps == ((day(1), 10.0), (day(2), 20.0))


def test_without_a_rate_of_its_own_the_meter_takes_that_of_the_programme() -> None:
    history = hours(Reading(day(0), 0), programme=(Charge(day(1), day(10), 50, "C1"),))
    forecast = history.forecast(history.since(None))
    assert forecast.reached_on(100) == day(20)
    assert "the mean of the planned charges" in say(forecast.says_why(100))


def test_the_rate_is_that_of_the_last_sixty_days() -> None:
    history = hours(Reading(day(0), 0), Reading(day(100), 2000), Reading(day(160), 2060))
    assert history.forecast(history.since(None)).daily_rate == pytest.approx(1.0)


def test_a_limit_beyond_a_century_is_not_predicted() -> None:
    history = hours(Reading(day(0), 0), Reading(day(10), 0.001))
    assert history.forecast(history.since(None)).reached_on(1e6) is None


def test_a_meter_never_read_predicts_nothing() -> None:
    history = hours()
    forecast = history.forecast(history.since(None))
    assert forecast.reached_on(10) is None
    assert say(forecast.says_why(10)) == "no readings"


def test_past_charges_make_readings_of_hours_and_counts() -> None:
    charges = (Charge(day(11), day(20), 150), Charge(day(0), day(10), 200))
    assert readings_from_charges(charges, Limit.RUNNING_HOURS) == (
        Reading(day(0), 0),
        Reading(day(10), 200),
        Reading(day(20), 350),
    )
    assert [reading.value for reading in readings_from_charges(charges, Limit.CHARGES)] == [0, 1, 2]
    assert readings_from_charges((), Limit.CHARGES) == ()


def test_a_planned_charge_counts_when_it_ends() -> None:
    history = MeterHistory(Limit.CHARGES, (Reading(day(0), 40),), (Charge(day(1), day(9), 150, "C1"),))
    assert history.forecast(history.since(None)).reached_on(1) == day(9)


@pytest.mark.parametrize("value", [-1, math.nan, math.inf])
def test_it_refuses_an_impossible_reading(value: float) -> None:
    with pytest.raises(ValueError, match="no number from 0 up"):
        Reading(day(0), value)


def test_it_refuses_an_impossible_charge() -> None:
    with pytest.raises(ValueError, match="ends on 2026-01-01, before it starts on 2026-01-02"):
        Charge(day(1), day(0), 10)
    with pytest.raises(ValueError, match="give 0 or more"):
        Charge(day(0), day(1), -1)


def test_it_refuses_a_meter_rule_by_the_calendar() -> None:
    with pytest.raises(ValueError, match="use a calendar rule"):
        MeterRule(Limit.CALENDAR, 10)


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (MeterRule(Limit.RUNNING_HOURS, 2000), "every 2,000 h of running"),
        (MeterRule(Limit.CHARGES, 20), "every 20 charges"),
        (MeterRule(Limit.CHARGES, 1), "every charge"),
    ],
)
def test_a_meter_rule_is_said_in_plain_words(rule: MeterRule, words: str) -> None:
    assert say(rule.describe()) == words


readings = st.lists(
    st.builds(Reading, st.integers(0, 300).map(day), st.floats(0, 10_000), st.booleans()), min_size=1, max_size=12
)


@settings(max_examples=100, deadline=None)
@given(readings)
def test_use_never_falls_and_is_the_sum_of_its_segments(found: list[Reading]) -> None:
    use = hours(*found).since(None)
    totals = [total for _, total in use.points]
    assert totals == sorted(totals)
    assert use.used == pytest.approx(sum(use.segments))


@settings(max_examples=100, deadline=None)
@given(readings, st.floats(0.1, 20_000), st.floats(0.1, 5_000))
def test_more_use_is_never_reached_sooner(found: list[Reading], amount: float, more: float) -> None:
    history = hours(*found, programme=(Charge(day(301), day(320), 300), Charge(day(325), day(340), 200)))
    forecast = history.forecast(history.since(None))
    sooner, later = forecast.reached_on(amount), forecast.reached_on(amount + more)
    assert later is None or (sooner is not None and sooner <= later)
