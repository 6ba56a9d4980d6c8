"""What is not told is not over: the clock neither opens a kiln nor empties it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from plant.charges.calculations.charge_phases import PhaseKind, forecast_charges
from plant.charges.calculations.downtime import Downtime, DowntimeKind
from plant.charges.calculations.known import (
    SOONEST,
    ChargeRecord,
    Due,
    KnownSpan,
    Told,
    charges_as_known,
    due,
    held_up,
)
from plant.charges.calculations.openings import windows
from plant.kilns.calculations.kiln_state import CheckState, KilnState, state_at

START_AT = datetime(2026, 1, 5, tzinfo=UTC)
LENGTHS_H = {"loading": 2, "heating_up": 6, "drying": 70, "conditioning": 10, "cooling": 6, "unloading": 2}
OPENS_H, OUT_H = 94, 96


def after(hours: float) -> datetime:
    return START_AT + timedelta(hours=hours)


def a_record(number: int = 1, start_h: float = 0, told: Told = Told.BEGUN, is_start_told: bool = False) -> ChargeRecord:
    spans = []
    for kind, length_h in LENGTHS_H.items():
        span = after(start_h), after(start_h + length_h)
        spans.append(KnownSpan(PhaseKind(kind), span, span))
        start_h += length_h
    return ChargeRecord(number, 1, told, tuple(spans), is_start_told=is_start_told)


def state(records: list[ChargeRecord], now_h: float, *, by_programme: bool = False) -> KilnState:
    now = after(now_h)
    casts = forecast_charges(charges_as_known(records, now, by_programme=by_programme), now)
    here = [one for one in casts if one.charge.is_begun or one.start_at > now]
    return state_at(now, [phase for one in here for phase in one.phases], []).state


def test_a_kiln_goes_from_phase_to_phase_by_itself_until_it_must_be_opened() -> None:
    states = [state([a_record()], hours) for hours in (1, 5, 50, 80, 90)]
    assert states == ["loading", "heating_up", "drying", "conditioning", "cooling"]


def test_a_kiln_that_nobody_told_opened_is_shut_however_long_ago_it_should_have_been() -> None:
    assert {state([a_record()], hours) for hours in (OPENS_H, 95, OUT_H, 97, 96 + 24 * 90)} == {KilnState.COOLING}


def test_once_told_to_be_opened_it_is_unloaded_until_it_is_told_to_be_out() -> None:
    assert {state([a_record(told=Told.OPENED)], hours) for hours in (95, OUT_H, 500)} == {KilnState.UNLOADING}
    assert state([a_record(told=Told.OUT)], OUT_H) == KilnState.OPEN_AND_EMPTY


def test_a_mill_that_goes_by_the_programme_has_its_charges_out_by_the_clock() -> None:
    states = [state([a_record()], hours, by_programme=True) for hours in (93, 95, OUT_H)]
    assert states == [KilnState.COOLING, KilnState.UNLOADING, KilnState.OPEN_AND_EMPTY]


def test_what_should_have_been_told_is_named_with_its_instant() -> None:
    assert due([a_record()], after(93)) is None
    assert due([a_record()], after(95)) == Due(1, Told.OPENED, after(OPENS_H))
    assert due([a_record()], after(99)) == Due(1, Told.OUT, after(OUT_H))
    assert due([a_record(told=Told.OPENED)], after(95)) is None
    assert due([a_record(told=Told.OPENED)], after(99)) == Due(1, Told.OUT, after(OUT_H))
    assert due([a_record(told=Told.OUT)], after(99)) is None


def test_an_opening_comes_after_the_unloading_that_is_still_to_be_done_and_is_never_now() -> None:
    now = after(120)
    (first,) = windows(1, charges_as_known([a_record()], now), now).openings
    assert (first.start_at, first.is_now) == (now + SOONEST + timedelta(hours=2), False)
    (first,) = windows(1, charges_as_known([a_record(told=Told.OPENED)], now), now).openings
    assert (first.start_at, first.is_now) == (now + SOONEST, False)


def test_the_next_charge_is_expected_behind_one_that_nobody_told_to_be_out() -> None:
    now = after(110)
    records = [a_record(), a_record(2, 108, Told.PLANNED)]
    _, following = forecast_charges(charges_as_known(records, now), now)
    assert following.start_at == now + SOONEST + timedelta(hours=2)


def test_a_charge_behind_one_that_was_not_told_out_does_not_begin_by_the_clock() -> None:
    """A file may call a charge running before it begins: that says nothing of the one before."""
    records = [a_record(), a_record(2, 108)]
    assert state(records, 109) == KilnState.COOLING
    assert state(records, 110.5) == KilnState.HEATING_UP
    assert state([a_record(), a_record(2, 108, is_start_told=True)], 109) == KilnState.LOADING
    assert state([a_record(told=Told.OUT), a_record(2, 108)], 109) == KilnState.LOADING


def test_of_charges_that_nobody_ever_told_out_the_last_is_in_the_kiln() -> None:
    records = [a_record(n, 100 * n) for n in range(1, 6)]
    assert due(records, after(2000)) == Due(5, Told.OUT, after(500 + OUT_H))
    assert state(records, 550) == KilnState.DRYING


def a_stop(start_h: float, end_h: float | None = None, **more: Any) -> Downtime:
    end_at = None if end_h is None else after(end_h)
    return Downtime(1, after(start_h), end_at, DowntimeKind.UNPLANNED, **{"charge_end_unknown_at": START_AT, **more})


def ends(record: ChargeRecord) -> dict[str, float]:
    return {one.kind.value: (one.best_known[1] - START_AT) / timedelta(hours=1) for one in record.spans}


def test_a_charge_comes_later_by_as_long_as_its_kiln_stood() -> None:
    held = held_up(a_record(), [a_stop(50, 62)], after(70))
    moved = {"drying": 90, "conditioning": 100, "cooling": 106, "unloading": 108}
    assert ends(held) == {"loading": 2, "heating_up": 8, **moved}


def test_while_its_kiln_stands_a_charge_comes_later_by_as_long_as_that_may_last() -> None:
    stop = a_stop(50, expected_end_at=after(60), end_sd_h=4)
    held = held_up(replace(a_record(), end_sd_h=3), [stop], after(52))
    assert (ends(held)["unloading"], held.end_sd_h) == (OUT_H + 10, 5)


def test_a_charge_whose_end_somebody_knows_is_not_moved_by_a_stop() -> None:
    known = a_stop(50, 62, charge_end_unknown_at=None)
    assert held_up(a_record(), [known], after(70)) == a_record()
    told_since = replace(a_record(), end_told_at=after(55))
    assert held_up(told_since, [a_stop(50, 62, charge_end_unknown_at=after(51))], after(70)) == told_since
    told_before = replace(a_record(), end_told_at=after(40))
    assert held_up(told_before, [a_stop(50, 62, charge_end_unknown_at=after(51))], after(70)) != told_before
    slowed = a_stop(50, 62, share_lost_thousandths=500)
    assert held_up(a_record(), [slowed], after(70)) == a_record()


def test_a_charge_that_is_opened_or_out_is_not_moved_any_more() -> None:
    for told in (Told.OPENED, Told.OUT, Told.PLANNED):
        assert held_up(a_record(told=told), [a_stop(50, 62)], after(70)) == a_record(told=told)


@given(st.floats(0, 95), st.floats(0.1, 400))
def test_a_stop_makes_no_phase_shorter_and_the_charge_longer_by_its_length(start_h: float, length_h: float) -> None:
    held = held_up(a_record(), [a_stop(start_h, start_h + length_h)], after(1000))
    for one, before in zip(held.spans, a_record().spans, strict=True):
        assert one.best_known[1] - one.best_known[0] >= before.best_known[1] - before.best_known[0]
    assert abs((held.end_at - a_record().end_at) / timedelta(hours=1) - length_h) < 1e-3


TOLD = st.sampled_from(list(Told))
CHARGES = st.lists(st.tuples(TOLD, st.booleans()), min_size=1, max_size=4)


@given(CHARGES, st.floats(0, 500))
def test_no_opening_is_now_while_a_charge_is_in_the_kiln_by_what_was_told(
    told: list[tuple[Told, bool]], now_h: float
) -> None:
    now = after(now_h)
    records = [
        a_record(n, 100 * n, one, is_start_told=is_told and one is not Told.PLANNED)
        for n, (one, is_told) in enumerate(told)
    ]
    found = state(records, now_h)
    is_open = any(one.is_now for one in windows(1, charges_as_known(records, now), now).openings)
    assert not (is_open and found in (KilnState.COOLING, KilnState.UNLOADING, KilnState.DRYING))
    if found is KilnState.OPEN_AND_EMPTY:
        begun = [one for one in records if one.told is not Told.PLANNED and one.begin_at <= now]
        assert not begun or begun[-1].told is Told.OUT


@given(CHARGES, st.floats(0, 500))
def test_where_the_programme_lets_people_in_what_was_told_does_or_says_what_is_due(
    told: list[tuple[Told, bool]], now_h: float
) -> None:
    """What was told is never laxer than the clock, and where it is stricter it says what to tell."""
    records = [a_record(n, 100 * n, one) for n, (one, _) in enumerate(told)]
    by_clock, by_word = state(records, now_h, by_programme=True), state(records, now_h)
    if by_clock in (KilnState.OPEN_AND_EMPTY, KilnState.UNLOADING) and by_word != by_clock:
        assert due(records, after(now_h)) is not None
    if by_word is KilnState.OPEN_AND_EMPTY:
        assert by_clock is KilnState.OPEN_AND_EMPTY


def test_still_and_empty_work_waits_for_the_word() -> None:
    now = after(98)
    casts = forecast_charges(charges_as_known([a_record()], now), now)
    found = state_at(now, casts[0].phases, [])
    assert found.check_states == {CheckState.RUNNING}
