"""When charges begin and end: yard, waiting, down times, promises and margins, by hand and against the model."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.placing.frame import PARTS, Frame
from maintenance.placing.hopeless import find_hopeless
from maintenance.placing.inserting import due_date_plan, greedy_plan, put_dearest_anew
from maintenance.placing.model import Part
from maintenance.placing.pins import faulty_pins
from maintenance.placing.places import HOURLY, StopAt, Stops, down_place, waiting_place
from maintenance.placing.problem import Charge, Down, Kiln, Problem
from maintenance.placing.state import State, state_of
from maintenance.placing.tasks import whole_task
from maintenance.placing.timing import Timing, Work
from tests.maintenance.placing.drawn_placing import DAY_MIN, ORIGIN, drawn_odd
from tests.maintenance.placing.drawn_second import odd_of_second_form, small_of_second_form

HOUR = 60
SIX, TEN_PM = 6 * HOUR, 22 * HOUR


def a_kiln(**changes: object) -> Kiln:
    """Give a kiln whose charge is planned from Monday 06:00 to Wednesday 20:00, the last two hours unloading."""
    charge = Charge(SIX, 2 * HOUR, 8 * HOUR, 36 * HOUR, 8 * HOUR, 6 * HOUR, 2 * HOUR, may_wait_min=12 * HOUR)
    charge = replace(charge, **{name: changes.pop(name) for name in list(changes) if hasattr(charge, name)})  # type: ignore[arg-type]
    last = Charge(5 * DAY_MIN, 0, 0, 0, 0, 0, 0)
    return replace(Kiln("K1", 4000, 60, 30, 300, 2500, 60_000, 3, (charge, last)), **changes)  # type: ignore[arg-type]


def timing_of(kiln: Kiln, **changes: object) -> Timing:
    """Time a kiln whose yard is open from 06:00 to 22:00."""
    yard = tuple((day * DAY_MIN + SIX, day * DAY_MIN + TEN_PM) for day in range(7))
    problem = Problem(ORIGIN, 5 * DAY_MIN, 3 * DAY_MIN, 4500, (kiln,), (), (), (), yard=yard, form=2)
    return Timing(replace(problem, **changes), kiln)  # type: ignore[arg-type]


def at(day: int, hour: int, minute: int = 0) -> int:
    return day * DAY_MIN + hour * HOUR + minute


def test_what_has_cooled_later_than_planned_waits_for_the_yard() -> None:
    timing = timing_of(a_kiln())

    assert timing.planned_cooled(0) == at(2, 18)
    assert timing.end_of(0, SIX) == at(2, 20)
    assert timing.end_of(0, SIX, 2 * HOUR) == at(2, 22)
    # Half an hour too late for both hours of unloading: not before the morning.
    assert timing.end_of(0, SIX, 150) == at(3, 8)


def test_the_programme_itself_may_unload_at_night() -> None:
    timing = timing_of(a_kiln(drying_min=42 * HOUR))

    assert timing.end_of(0, SIX) == at(3, 2)
    assert timing.end_of(0, SIX, 1) == at(3, 8)


def test_a_charge_that_waits_is_loaded_in_the_hours_of_the_yard() -> None:
    timing = timing_of(a_kiln(may_wait_min=36 * HOUR))

    assert timing.first_start(0, at(0, 20)) == at(0, 20)
    assert timing.first_start(0, at(0, 20, 1)) == at(1, 6)
    assert timing.latest[0] == at(1, 18)


def test_a_charge_that_may_not_wait_does_not() -> None:
    timing = timing_of(a_kiln(may_wait_min=0))

    assert timing.timetable({0: StopAt(at(0, 1), SIX, 0, 0)}, {}) == [SIX, 5 * DAY_MIN]
    assert timing.timetable({0: StopAt(at(0, 1), SIX + 1, 0, 0)}, {}) is None


def test_work_in_the_time_in_which_a_charge_waits_for_the_yard_interrupts_nothing() -> None:
    """Begun at 12:30, the charge has cooled on Thursday at 00:30 and waits until 06:00."""
    timing = timing_of(a_kiln(later_cents_per_hour=600))
    opening, waiting = StopAt(at(0, 10), at(0, 12, 30), 0, 0), StopAt(at(3, 1), at(3, 6), 0, 0)
    stops = {0: opening, waiting_place(0): waiting}

    starts = timing.timetable(stops, {})
    assert starts == [at(0, 12, 30), 5 * DAY_MIN]
    (course,) = timing.follow(starts, stops, {}) or ()
    assert (course.cooled_min, course.unload_min, course.end_min) == (at(3, 0, 30), at(3, 6), at(3, 8))
    assert not course.is_interrupted
    # Twelve hours after the promise, at 6.00 an hour.
    assert course.later_price == 12 * 600 * PARTS

    late = {**stops, waiting_place(0): replace(waiting, end_min=at(3, 6, 1))}
    assert timing.timetable(late, {}) is None


def test_a_stop_while_the_kiln_is_down_costs_a_charge_only_what_it_lasts_longer() -> None:
    timing = timing_of(a_kiln(down=(Down(at(1, 8), at(1, 12)),)), yard=None)

    def out(end_min: int) -> tuple[int, bool]:
        stops = {down_place(0): StopAt(at(1, 8), end_min, 0, 0)}
        (course,) = timing.follow([SIX, 5 * DAY_MIN], stops, {}) or ()
        return course.end_min, course.is_interrupted

    assert out(at(1, 12)) == (at(2, 20), False)
    # An hour longer, and five hours of reheating.
    assert out(at(1, 13)) == (at(3, 2), True)


def test_nothing_that_lasts_longer_than_a_down_time_goes_with_another_stop_of_the_charge() -> None:
    timing = timing_of(a_kiln(down=(Down(at(1, 8), at(1, 12)),)), yard=None)
    cut = StopAt(at(2, 0), at(2, 2), 0, 0)

    assert timing.timetable({down_place(0): StopAt(at(1, 8), at(1, 12), 0, 0), 1: cut}, {}) is not None
    assert timing.timetable({down_place(0): StopAt(at(1, 8), at(1, 13), 0, 0), 1: cut}, {}) is None


def test_the_next_charge_waits_for_a_stop_that_lasts_longer_than_an_unloaded_kiln_is_down() -> None:
    timing = timing_of(a_kiln(down=(Down(0, at(0, 5), unloaded=True),)))

    def begins(end_min: int) -> list[int] | None:
        return timing.timetable({down_place(0): StopAt(at(0, 2), end_min, 0, 0)}, {})

    assert begins(SIX) == [SIX, 5 * DAY_MIN]
    assert begins(at(0, 9)) == [at(0, 9), 5 * DAY_MIN]
    assert begins(at(0, 19)) is None


def test_stops_of_a_kiln_do_not_overlap() -> None:
    timing = timing_of(a_kiln(down=(Down(0, at(0, 5), unloaded=True),)))
    inside = StopAt(at(0, 2), at(0, 4), 0, 0)

    assert timing.timetable({down_place(0): inside, 0: StopAt(at(0, 4), at(0, 6), 0, 0)}, {}) is not None
    assert timing.timetable({down_place(0): inside, 0: StopAt(at(0, 3), at(0, 6), 0, 0)}, {}) is None


@pytest.mark.parametrize(("price_cents", "start_min"), [(500, SIX), (700, SIX + 2 * HOUR)])
def test_a_charge_waits_for_the_margin_of_work_beside_it_where_that_is_worth_its_delay(
    price_cents: int, start_min: int
) -> None:
    """Running ends on Wednesday at 12:00, as does the work, which wants two hours of margin."""
    timing = timing_of(a_kiln(later_cents_per_hour=600, margin_min=2 * HOUR), yard=None)
    work: Work = {1: [(at(2, 11), at(2, 12), price_cents * HOURLY)]}

    assert timing.timetable({}, work) == [start_min, 5 * DAY_MIN]


@given(st.integers(0, 10**9))
@settings(max_examples=60, deadline=None)
def test_a_kiln_that_asks_for_nothing_of_the_second_form_is_timed_as_ever(seed: int) -> None:
    problem = drawn_odd(seed)
    frame = Frame(problem)
    state = put_dearest_anew(greedy_plan(frame))

    for kiln, timing in enumerate(frame.timing):
        assert timing.is_plain
        stops, work = state.stops[kiln], state.work[kiln]
        known = timing.timetable(stops, work)
        timing.is_plain = False
        assert timing.timetable(stops, work) == known == state.starts[kiln]
        assert timing.follow(state.starts[kiln], stops, work) is not None


def placed_by_rule(frame: Frame) -> State | None:
    """Give the best of both rules of thumb, or nothing where no plan can be."""
    if faulty_pins(frame) or find_hopeless(frame):
        return None
    found = [put_dearest_anew(state) for state in (due_date_plan(frame), greedy_plan(frame))]
    complete = [state for state in found if frame.must <= state.at.keys()]
    return min(complete, key=lambda state: state.cost().total, default=None)


@given(st.integers(0, 10**9), st.booleans())
@settings(max_examples=150, deadline=None)
def test_the_model_and_the_timetable_say_the_same_of_a_plan_and_its_cost(seed: int, is_small: bool) -> None:
    frame = Frame(small_of_second_form(seed) if is_small else odd_of_second_form(seed))
    known = placed_by_rule(frame)
    if known is None:
        return

    found = Part(frame, whole_task(known, {})).solve(20, seed=1)

    assert found.at is not None and found.is_proven
    stops: list[Stops] = [found.stops.get(kiln, {}) for kiln in range(len(frame.kilns))]
    state = state_of(frame, found.at, stops)
    assert state is not None and state.is_sound()
    assert state.cost().total * PARTS == found.price
    assert state.cost().total <= known.cost().total
