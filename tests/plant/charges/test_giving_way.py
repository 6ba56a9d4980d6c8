"""Planned charges that give way: later by what is needed, gaps used up first, none drawn forward."""

from datetime import datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from plant.charges.calculations.giving_way import give_way
from plant.charges.calculations.told import ChargeTimes
from tests.factories import MONDAY

HOUR = timedelta(hours=1)


def at(hour: float) -> datetime:
    return MONDAY + hour * HOUR


def span(begin_h: float, end_h: float) -> ChargeTimes:
    return ChargeTimes(at(begin_h), at(end_h))


def test_those_behind_come_later_by_what_is_needed_and_gaps_are_used_up_first() -> None:
    # The new one is out at 30; ten hours are free before the second, which moves by none.
    moved = give_way([span(20, 40), span(60, 80)], [span(0, 30)])
    assert moved == [span(30, 50), span(60, 80)]


def test_one_that_finds_no_room_before_a_charge_that_stays_goes_behind_it() -> None:
    assert give_way([span(0, 20)], [span(0, 10), span(25, 40)]) == [span(40, 60)]
    assert give_way([span(0, 15)], [span(0, 10), span(25, 40)]) == [span(10, 25)]


def test_none_of_them_begins_before_the_kiln_is_free() -> None:
    assert give_way([span(0, 5), span(6, 9)], free_at=at(8)) == [span(8, 13), span(13, 16)]


def test_one_that_must_move_begins_when_the_yard_works_and_one_that_need_not_stays() -> None:
    def next_morning(moment: datetime) -> datetime:
        hours = (moment - MONDAY) // HOUR % 24
        return moment + (24 - hours) % 24 * HOUR

    moved = give_way([span(7, 20), span(50, 60)], [span(0, 10)], fit=next_morning)
    assert moved == [span(24, 37), span(50, 60)]


@st.composite
def programmes(draw: st.DrawFn) -> tuple[list[ChargeTimes], list[ChargeTimes]]:
    hour = 0

    def lay(count: int) -> list[ChargeTimes]:
        nonlocal hour
        hour, found = draw(st.integers(0, 30)), []
        for _number in range(count):
            begin = hour + draw(st.integers(0, 12))
            hour = begin + draw(st.integers(1, 40))
            found.append(span(begin, hour))
        return found

    return lay(draw(st.integers(0, 6))), lay(draw(st.integers(0, 4)))


@given(programmes())
def test_whatever_is_planned_no_two_share_the_kiln_and_none_moves_further_than_it_must(
    drawn: tuple[list[ChargeTimes], list[ChargeTimes]],
) -> None:
    planned, fixed = drawn
    moved = give_way(planned, fixed)
    every = sorted([*moved, *fixed], key=lambda one: one.begin_at)
    assert all(a.end_at <= b.begin_at for a, b in pairwise(every))
    assert [one.end_at - one.begin_at for one in moved] == [one.end_at - one.begin_at for one in planned]
    ends = {one.end_at for one in every}
    for was, now in zip(planned, moved, strict=True):
        assert now.begin_at >= was.begin_at
        # Who moved, moved to the end of another: an hour sooner it would share the kiln or overtake.
        assert now == was or now.begin_at in ends
    assert moved == sorted(moved, key=lambda one: one.begin_at)
    # Done once, it is done.
    assert give_way(moved, fixed) == moved
