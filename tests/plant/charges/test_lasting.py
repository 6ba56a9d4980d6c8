"""Until when a stop may last: as told, else as such stops did, and never by the clock alone."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from plant.charges.calculations.known import SOONEST
from plant.charges.calculations.lasting import ENOUGH, NOBODY_KNOWS, Lasting, lasting

START_AT = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)


def hours(*lengths: float) -> list[timedelta]:
    return [length * HOUR for length in lengths]


def test_what_somebody_said_counts_until_it_has_gone_by() -> None:
    told_at = START_AT + 6 * HOUR
    others = [hours(1, 2, 3)]
    assert lasting(START_AT, START_AT + HOUR, told_at, others) == Lasting(told_at, is_told=True)
    late = START_AT + 7 * HOUR
    assert lasting(START_AT, late, told_at, others) == Lasting(late + SOONEST, is_told=True, is_late=True)


def test_where_nobody_knows_it_lasts_as_such_stops_did() -> None:
    found = lasting(START_AT, START_AT + HOUR, None, [hours(4, 8, 6)])
    assert (found.end_at, found.count) == (START_AT + 6 * HOUR, 3)
    assert 1.6 < found.sd_h < 1.7


def test_only_those_count_that_lasted_longer_than_this_one_already() -> None:
    found = lasting(START_AT, START_AT + 5 * HOUR, None, [hours(1, 2, 3, 8, 10, 12)])
    assert (found.end_at, found.count) == (START_AT + 10 * HOUR, 3)


def test_too_few_like_it_leave_it_to_those_less_like_it_and_then_to_a_day() -> None:
    found = lasting(START_AT, START_AT + HOUR, None, [hours(4, 5), hours(4, 5, 20)])
    assert (found.end_at, found.count) == (START_AT + 5 * HOUR, 3)
    now = START_AT + 30 * HOUR
    assert lasting(START_AT, now, None, [hours(4, 5), hours(4, 5, 20)]) == Lasting(now + NOBODY_KNOWS)


@given(
    st.floats(0, 500),
    st.none() | st.floats(0, 600),
    st.lists(st.lists(st.floats(0.1, 400), max_size=8), max_size=3),
)
def test_a_stop_that_goes_on_ends_ahead_whatever_was_told(
    now_h: float, told_h: float | None, groups: list[list[float]]
) -> None:
    now = START_AT + now_h * HOUR
    told_at = None if told_h is None else START_AT + told_h * HOUR
    found = lasting(START_AT, now, told_at, [hours(*group) for group in groups])
    assert found.end_at >= now + SOONEST or found.end_at == told_at
    assert found.end_at > now
    assert found.count == 0 or found.count >= ENOUGH
