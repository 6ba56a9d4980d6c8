"""When the yard works: by weekday, by the mill's clock, also where the clocks change."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.basics.yard_hours import YardHours
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.laying import lay, lengths_of, stretched

STOCKHOLM = ZoneInfo("Europe/Stockholm")
EARLY = (time(6), time(14))
WEEKDAYS = YardHours(STOCKHOLM, (EARLY,) * 5 + (None, None))
HOUR = timedelta(hours=1)


def local(day: int, hour: int, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=STOCKHOLM)


def test_a_yard_without_hours_works_at_any() -> None:
    assert YardHours(STOCKHOLM).works_at(local(28, 3))


def test_the_next_hour_is_that_of_the_next_day_on_which_it_works() -> None:
    # 27 November 2026 is a Friday.
    assert WEEKDAYS.next_at(local(27, 6)) == local(27, 6)
    assert WEEKDAYS.next_at(local(27, 5)) == local(27, 6)
    assert WEEKDAYS.next_at(local(27, 14)) == local(30, 6)
    assert WEEKDAYS.next_at(local(28, 12)) == local(30, 6)


def test_a_night_of_an_hour_less_is_no_night_of_an_hour_more() -> None:
    # The clocks go forward on Sunday, 29 March 2026.
    sundays = YardHours(STOCKHOLM, (*(None,) * 6, (time(6), time(0))))
    assert sundays.next_at(local(28, 12, 3)) == datetime(2026, 3, 29, 4, tzinfo=UTC)
    assert sundays.works_at(local(29, 23, 3))


def test_hours_that_cannot_be_are_refused() -> None:
    for week in ((None,) * 7, (EARLY,) * 6, ((time(14), time(6)),) * 7):
        with pytest.raises(ValueError, match=r"week|no day|before it begins"):
            YardHours(STOCKHOLM, week)


@given(st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1), timezones=st.just(UTC)))
def test_the_next_hour_is_the_first_at_which_it_works(at: datetime) -> None:
    found = WEEKDAYS.next_at(at)
    assert found >= at and WEEKDAYS.works_at(found)
    clock = found.astimezone(STOCKHOLM)
    assert clock.weekday() < 5 and time(6) <= clock.time() < time(14)
    # None sooner: a step before it the yard stands still, unless it is asked for at once.
    assert found == at or not WEEKDAYS.works_at(found - timedelta(seconds=1))


def test_phases_follow_one_another_and_the_one_before_unloading_waits_for_the_yard() -> None:
    lengths = {PhaseKind.LOADING: 2 * HOUR, PhaseKind.DRYING: 30 * HOUR, PhaseKind.UNLOADING: HOUR}
    times = lay(local(26, 6), lengths, WEEKDAYS.next_at)
    # Out at 14 o'clock of the Friday, when nobody works any more: on Monday at 6.
    assert [(span.kind, span.begin_at) for span in times.spans][-1] == (PhaseKind.UNLOADING, local(30, 6))
    assert times.spans[-2].end_at == local(30, 6)
    assert times.end_at == local(30, 7)


def test_a_typed_end_lengthens_the_drying_alone() -> None:
    lengths = {PhaseKind.LOADING: 2 * HOUR, PhaseKind.DRYING: 30 * HOUR, PhaseKind.UNLOADING: HOUR}
    assert stretched(lengths, 43 * HOUR) == {**lengths, PhaseKind.DRYING: 40 * HOUR}
    assert stretched(lengths, 3 * HOUR) is None
    assert lengths_of(lay(local(26, 6), lengths)) == lengths
