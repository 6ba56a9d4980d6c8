import itertools
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.charges.calculations.charge_phases import Charge, PhaseKind, PhaseTimes, forecast_charges
from plant.charges.calculations.downtime import Downtime, DowntimeKind
from plant.charges.calculations.openings import Opening, RunningWindow, StillWindow, Windows, windows

START_AT = datetime(2026, 1, 5, tzinfo=UTC)
LENGTHS_H = {
    PhaseKind.LOADING: 2,
    PhaseKind.HEATING_UP: 6,
    PhaseKind.DRYING: 70,
    PhaseKind.CONDITIONING: 10,
    PhaseKind.COOLING: 6,
    PhaseKind.UNLOADING: 2,
}
CHARGE_H = sum(LENGTHS_H.values())


def after(hours: float) -> datetime:
    return START_AT + timedelta(hours=hours)


def charge(number: int, start_h: float, now_h: float | None = None, sd_h: float = 0.0) -> Charge:
    """A charge as planned; with ``now_h``, everything up to then has happened on time."""
    phases = []
    for kind, length_h in LENGTHS_H.items():
        span = after(start_h), after(start_h + length_h)
        is_begun = now_h is not None
        phases.append(PhaseTimes.from_best_known(kind, span, span, after(now_h or 0), is_begun=is_begun))
        start_h += length_h
    return Charge(number, 1, tuple(phases), sd_h)


def found(charges: list[Charge], now_h: float, downtime: list[Downtime] | None = None) -> Windows:
    return windows(1, charges, after(now_h), downtime=downtime or [])


def test_an_opening_lies_between_unloading_and_the_next_loading() -> None:
    first, *_ = found([charge(1, 0, now_h=50, sd_h=3.5), charge(2, 108)], 50).openings
    assert first == Opening(1, 1, 2, after(96), after(108), is_now=False, start_sd_h=3.5)


def test_the_last_opening_has_no_end() -> None:
    assert found([charge(1, 0, now_h=50)], 50).openings == (Opening(1, 1, None, after(96), None, is_now=False),)


def test_an_opening_under_way_keeps_its_start_and_is_certain() -> None:
    first, _ = found([charge(1, 0, now_h=100, sd_h=4), charge(2, 120)], 100).openings
    assert first == Opening(1, 1, 2, after(96), after(120), is_now=True)


def test_a_kiln_without_charges_is_one_opening_from_now_on() -> None:
    assert found([], 5).openings == (Opening(1, None, None, after(5), None, is_now=True),)


def test_before_the_first_charge_the_opening_starts_at_the_beginning_asked_for() -> None:
    first, _ = windows(1, [charge(1, 30)], after(0), from_at=after(10)).openings
    assert first == Opening(1, None, 1, after(10), after(30), is_now=False)


def test_openings_that_are_over_are_left_out() -> None:
    charges = [charge(1, 0, now_h=150), charge(2, 100, now_h=150)]
    assert [opening.before_charge_id for opening in found(charges, 150).openings] == [2]


def test_charges_without_a_gap_have_no_opening_between_them() -> None:
    charges = [charge(1, 0, now_h=50), charge(2, CHARGE_H)]
    assert [opening.after_charge_id for opening in found(charges, 50).openings] == [None]


def test_a_charge_that_runs_over_pushes_the_next_one_and_its_opening_away() -> None:
    late = charge(1, 0, now_h=50)
    drying = late.phases[2]
    slow = PhaseTimes(
        drying.kind,
        drying.planned_start_at,
        drying.planned_end_at,
        predicted_end_at=after(100),
        actual_start_at=drying.actual_start_at,
    )
    late = Charge(1, 1, (*late.phases[:2], slow, *late.phases[3:]))
    first, second = forecast_charges([charge(2, 100), late], after(50))
    assert (first.end_at, second.start_at, second.is_held_up) == (after(118), after(118), True)
    assert [opening.after_charge_id for opening in found([charge(2, 100), late], 50).openings] == [None]


def test_a_charge_that_has_begun_is_not_held_up_however_long_ago() -> None:
    (forecast,) = forecast_charges([charge(1, 0, now_h=50)], after(50))
    assert not forecast.is_held_up


def test_a_planned_length_moves_with_the_start_that_happened_but_never_ends_in_the_past() -> None:
    drying = PhaseTimes(PhaseKind.DRYING, after(0), after(20), actual_start_at=after(5))
    ends = [forecast_charges([Charge(1, 1, (drying,))], after(now_h))[0].end_at for now_h in (10, 30)]
    assert ends == [after(25), after(30)]


def test_a_planned_charge_that_did_not_begin_is_expected_from_now_on() -> None:
    (forecast,) = forecast_charges([charge(1, 0)], after(10))
    assert (forecast.start_at, forecast.end_at, forecast.is_held_up) == (after(10), after(10 + CHARGE_H), True)


def test_a_phase_that_was_passed_over_is_not_expected_any_more() -> None:
    phases = charge(1, 0, now_h=79).phases
    cooling = PhaseTimes(PhaseKind.COOLING, after(88), after(94), actual_start_at=after(78))
    (forecast,) = forecast_charges(
        [Charge(1, 1, (*phases[:3], PhaseTimes(PhaseKind.CONDITIONING), cooling, phases[5]))], after(79)
    )
    assert [phase.kind for phase in forecast.phases][-3:] == [PhaseKind.DRYING, PhaseKind.COOLING, PhaseKind.UNLOADING]
    assert forecast.end_at == after(96)


def test_nothing_is_said_after_a_charge_whose_end_nobody_knows() -> None:
    unknown = Charge(1, 1, (PhaseTimes(PhaseKind.DRYING, actual_start_at=after(0)),))
    result = found([unknown, charge(2, 500)], 10)
    assert result.openings == ()
    assert result.running == (RunningWindow(1, 1, after(0), None, is_now=True),)


def test_a_running_window_reaches_from_heating_up_to_the_end_of_cooling() -> None:
    window, *_ = found([charge(1, 0, now_h=50, sd_h=2)], 50).running
    assert window == RunningWindow(1, 1, after(2), after(94), is_now=True, end_sd_h=2)


def test_openings_and_full_stops_are_still_windows_and_join_where_they_touch() -> None:
    downtime = [
        Downtime(1, after(60), after(64), DowntimeKind.PLANNED),
        Downtime(1, after(90), after(97), DowntimeKind.UNPLANNED),
        Downtime(1, after(70), after(75), DowntimeKind.UNPLANNED, 500),
    ]
    still = found([charge(1, 0, now_h=50), charge(2, 108)], 50, downtime).still
    assert still[:2] == (
        StillWindow(1, after(60), after(64), is_now=False),
        StillWindow(1, after(90), after(108), is_now=False),
    )


def test_a_charge_that_waits_between_two_phases_may_be_locked_out() -> None:
    times = PhaseTimes(PhaseKind.DRYING, after(10), after(20)), PhaseTimes(PhaseKind.COOLING, after(24), after(30))
    still = found([Charge(1, 1, times)], 0).still
    assert StillWindow(1, after(20), after(24), is_now=False) in still


@pytest.mark.parametrize(
    ("charges", "message"),
    [
        ([Charge(1, 2, (PhaseTimes(PhaseKind.DRYING, START_AT, START_AT),))], r"charges of kilns \[2\] were given"),
        ([Charge(1, 1, (PhaseTimes(PhaseKind.DRYING, START_AT),))], "neither begun nor a planned start and end"),
        ([Charge(1, 1, (PhaseTimes(PhaseKind.DRYING),))], "has no start"),
    ],
)
def test_a_charge_that_cannot_be_placed_in_time_is_refused(charges: list[Charge], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        found(charges, 0)


def test_a_record_of_another_kiln_is_refused() -> None:
    with pytest.raises(ValueError, match="downtime of kiln 2 was given for kiln 1"):
        found([], 0, [Downtime(2, after(0), after(1), DowntimeKind.PLANNED)])


@pytest.mark.parametrize(
    ("phases", "sd_h", "message"), [((), 0, "no phase"), ((PhaseTimes(PhaseKind.DRYING),), -1, "below 0")]
)
def test_a_charge_that_cannot_be_is_refused(phases: tuple[PhaseTimes, ...], sd_h: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Charge(1, 1, phases, sd_h)


@given(st.lists(st.integers(0, 60), min_size=1, max_size=5), st.integers(-20, 600))
@settings(max_examples=60, deadline=None)
def test_openings_and_charges_take_turns_without_overlap(gaps_h: list[int], now_h: int) -> None:
    charges, start_h = [], 0
    for number, gap_h in enumerate(gaps_h):
        charges.append(charge(number, start_h + gap_h, now_h=now_h if start_h + gap_h <= now_h else None))
        start_h += gap_h + CHARGE_H
    forecasts = forecast_charges(charges, after(now_h))
    openings = windows(1, charges[::-1], after(now_h), from_at=after(-30)).openings
    spans = sorted([(f.start_at, f.end_at) for f in forecasts] + [(o.start_at, o.end_at) for o in openings])
    assert all(end_at == next_at for (_, end_at), (next_at, _) in itertools.pairwise(spans))
    assert spans[-1][1] is None
