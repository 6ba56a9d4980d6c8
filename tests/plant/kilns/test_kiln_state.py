from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.charges.calculations.charge_phases import Phase, PhaseKind
from plant.charges.calculations.downtime import DeratingRule, Downtime, DowntimeKind
from plant.kilns.calculations.kiln_state import CheckState, KilnState, StateAt, state_at

START_AT = datetime(2026, 1, 5, tzinfo=UTC)


def after(hours: float) -> datetime:
    return START_AT + timedelta(hours=hours)


# Two hours of waiting lie between conditioning and cooling.
CHARGE = [
    Phase(7, PhaseKind.LOADING, after(0), after(2)),
    Phase(7, PhaseKind.HEATING_UP, after(2), after(6)),
    Phase(7, PhaseKind.DRYING, after(6), after(80)),
    Phase(7, PhaseKind.CONDITIONING, after(80), after(90)),
    Phase(7, PhaseKind.COOLING, after(92), after(96)),
    Phase(7, PhaseKind.UNLOADING, after(96), after(98)),
]


def down(start_h: float, end_h: float | None, kind: DowntimeKind, share: int = 1000, cause: str = "") -> Downtime:
    return Downtime(1, after(start_h), None if end_h is None else after(end_h), kind, share, cause)


@pytest.mark.parametrize(
    ("hours", "state", "since_h", "until_h"),
    [
        (0, "loading", 0, 2),
        (2, "heating_up", 2, 6),
        (79, "drying", 6, 80),
        (85, "conditioning", 80, 90),
        (91, "waiting_loaded", 90, 92),
        (92, "cooling", 92, 96),
        (97.9, "unloading", 96, 98),
    ],
)
def test_the_phase_of_the_charge_is_the_state(hours: float, state: str, since_h: float, until_h: float) -> None:
    found = state_at(after(hours), CHARGE, [])
    assert (found.state, found.since_at, found.until_at) == (state, after(since_h), after(until_h))
    assert (found.charge_id, found.capacity_thousandths) == (7, 1000)


def test_after_unloading_a_kiln_is_open_and_empty_without_a_known_end() -> None:
    assert state_at(after(98), CHARGE, []) == StateAt(KilnState.OPEN_AND_EMPTY, after(98), None, 1000, None)


def test_before_its_first_charge_nobody_knows_what_is_in_a_kiln() -> None:
    found = state_at(after(-5), CHARGE, [])
    assert (found.state, found.since_at, found.until_at) == (KilnState.NO_RECORD, None, after(0))


def test_a_kiln_without_any_record_is_never_called_open_and_empty() -> None:
    assert state_at(after(0), [], []) == StateAt(KilnState.NO_RECORD, None, None, 1000, None)


def test_a_stop_or_no_timber_on_record_is_told_of_a_kiln_without_charges_and_ends_in_no_record() -> None:
    records = [down(0, 5, DowntimeKind.PLANNED), down(5, 9, DowntimeKind.NO_TIMBER)]
    states = [state_at(after(hours), [], records).state for hours in (2, 7, 9)]
    assert states == [KilnState.PLANNED_DOWN, KilnState.NO_TIMBER, KilnState.NO_RECORD]


def test_a_stop_outweighs_the_phase_and_keeps_the_charge() -> None:
    found = state_at(after(30), CHARGE, [down(20, None, DowntimeKind.UNPLANNED, cause="fan motor")])
    assert found == StateAt(KilnState.STOPPED, after(20), None, 0, 7, "fan motor")


def test_of_two_stops_the_first_names_the_cause() -> None:
    records = [down(25, 40, DowntimeKind.UNPLANNED, cause="door"), down(20, 60, DowntimeKind.UNPLANNED, cause="fan")]
    assert state_at(after(30), CHARGE, records).cause == "fan"


def test_an_unplanned_stop_outweighs_a_planned_one() -> None:
    records = [down(100, 130, DowntimeKind.PLANNED), down(110, 120, DowntimeKind.UNPLANNED)]
    states = [state_at(after(hours), CHARGE, records).state for hours in (105, 115, 125)]
    assert states == [KilnState.PLANNED_DOWN, KilnState.STOPPED, KilnState.PLANNED_DOWN]


def test_a_power_cut_stops_the_kiln_but_never_hides_work_on_it() -> None:
    records = [down(20, 40, DowntimeKind.EXTERNAL, cause="power cut"), down(30, 35, DowntimeKind.PLANNED)]
    states = [state_at(after(hours), CHARGE, records).state for hours in (25, 32, 38)]
    assert states == [KilnState.STOPPED, KilnState.PLANNED_DOWN, KilnState.STOPPED]


def test_touching_stops_are_one_stretch() -> None:
    records = [down(100, 110, DowntimeKind.UNPLANNED), down(110, 120, DowntimeKind.UNPLANNED)]
    found = state_at(after(115), CHARGE, records)
    assert (found.since_at, found.until_at) == (after(100), after(120))


def test_an_empty_kiln_may_lack_timber_but_a_loaded_one_may_not() -> None:
    records = [down(50, 150, DowntimeKind.NO_TIMBER)]
    assert state_at(after(60), CHARGE, records).state is KilnState.DRYING
    found = state_at(after(120), CHARGE, records)
    assert (found.state, found.since_at, found.until_at) == (KilnState.NO_TIMBER, after(98), after(150))


@pytest.mark.parametrize(("rule", "left"), [(DeratingRule.ADDITIVE, 350), (DeratingRule.DOMINANT, 600)])
def test_a_derating_leaves_the_state_and_lowers_the_capacity(rule: DeratingRule, left: int) -> None:
    records = [down(20, 40, DowntimeKind.UNPLANNED, 400), down(20, 40, DowntimeKind.PLANNED, 250)]
    found = state_at(after(30), CHARGE, records, rule)
    assert (found.state, found.since_at, found.capacity_thousandths) == (KilnState.DRYING, after(6), left)


@pytest.mark.parametrize(
    ("hours", "records", "checks"),
    [
        (30, [], {"running"}),
        (94, [], {"running"}),
        (1, [], set()),
        (97, [], set()),
        (91, [], {"still"}),
        (99, [], {"still", "open_and_empty"}),
        (30, [down(20, None, DowntimeKind.UNPLANNED)], {"still"}),
        (99, [down(98, None, DowntimeKind.PLANNED)], {"still", "open_and_empty"}),
        (99, [down(98, None, DowntimeKind.NO_TIMBER)], {"still", "open_and_empty"}),
    ],
)
def test_the_state_says_what_can_be_checked(hours: float, records: list[Downtime], checks: set[str]) -> None:
    assert state_at(after(hours), CHARGE, records).check_states == {CheckState(check) for check in checks}


def test_an_instant_without_time_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        state_at(datetime(2026, 1, 5), CHARGE, [])


RECORDS = st.lists(
    st.builds(
        lambda start, length, kind, share: down(start, start + length, kind, share),
        st.integers(-10, 110),
        st.integers(0, 40),
        st.sampled_from(list(DowntimeKind)),
        st.sampled_from([300, 1000]),
    ),
    max_size=4,
)


@given(RECORDS, st.integers(-20, 130))
@settings(max_examples=60, deadline=None)
def test_the_state_holds_throughout_its_stretch_and_changes_at_its_ends(records: list[Downtime], hours: int) -> None:
    found = state_at(after(hours), CHARGE, records)
    if found.since_at is not None:
        assert state_at(found.since_at, CHARGE, records).state is found.state
        assert state_at(found.since_at - timedelta(seconds=1), CHARGE, records).state is not found.state
    if found.until_at is not None:
        assert state_at(found.until_at - timedelta(seconds=1), CHARGE, records).state is found.state
        assert state_at(found.until_at, CHARGE, records).state is not found.state
    assert state_at(after(hours), CHARGE[::-1], records[::-1]) == found
