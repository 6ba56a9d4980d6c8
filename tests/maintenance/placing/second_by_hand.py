"""A mill of the second form made by hand, and a plan for it whose cost is summed by hand."""

from __future__ import annotations

from dataclasses import replace

from maintenance.placing.plan import Cost, PlacedJob, Plan, Stop
from maintenance.placing.problem import Charge, Down, Job, Kiln, Person, Problem, Shift
from tests.maintenance.placing.drawn_placing import DAY_MIN, ORIGIN
from tests.maintenance.placing.placing_by_hand import a_job

LAST = 10 * DAY_MIN


def at(day: int, hour: int, minute: int = 0) -> int:
    return day * DAY_MIN + hour * 60 + minute


def a_second_mill() -> Problem:
    """Give a mill of two kilns whose yard works from 06:00 to 22:00 and whose people are there day and night."""
    first = Charge(at(0, 6), 120, 480, 2160, 480, 360, 120, may_wait_min=720, later_cents_per_hour=600, margin_min=180)
    # Planned to be loaded at midnight, which the programme may.
    second = Charge(at(4, 0), 120, 480, 2000, 400, 300, 120, may_wait_min=2880, margin_min=100)
    last = Charge(LAST, 0, 0, 0, 0, 0, 0)
    plain = Kiln("K1", 4000, 60, 30, 300, 2500, 60_000, 3, (first, second, last))
    downs = (Down(7000, 7600), Down(9300, 10_000, unloaded=True))
    held = replace(first, may_wait_min=0, later_cents_per_hour=0)
    kilns = (
        replace(plain, down=downs),
        replace(plain, tag="K2", charges=(held, last), down=(Down(1500, 1800),)),
    )
    people = (
        Person("P1", frozenset({"mechanical", "lock-out"})),
        Person("P2", frozenset({"mechanical", "lock-out"})),
    )
    shifts = tuple(
        Shift(f"S{day}", day * DAY_MIN, (day + 1) * DAY_MIN, (day + 1) * DAY_MIN + 60, ("P1", "P2"))
        for day in range(10)
    )
    return Problem(
        origin=ORIGIN,
        horizon_min=LAST,
        max_delay_min=4320,
        overtime_cents_per_person_hour=4500,
        kilns=kilns,
        people=people,
        shifts=shifts,
        jobs=_jobs(),
        yard=tuple((at(day, 6), at(day, 22)) for day in range(10)),
        form=2,
    )


def _jobs() -> tuple[Job, ...]:
    def job(ref: str, needs_state: str, kiln: str = "K1", **changes: object) -> Job:
        plain = a_job(ref, needs_state=needs_state, kiln=kiln, due_min=LAST, latest_min=LAST)
        return replace(plain, **changes)  # type: ignore[arg-type]

    return (
        job("EMPTY", "empty", duration_min=270),
        job("WAITS", "still"),
        job("BEHIND", "empty", safety=True),
        job("RUNS", "running", keeps_margin=True),
        job("DOWN", "still"),
        job("UNLOADED", "empty"),
        job("LONGER", "still", kiln="K2", duration_min=80),
        job("AGAIN", "running", kiln="K2"),
    )


def a_second_plan() -> Plan:
    """Give a plan that has every kind of stop.

    The work before the first charge of K1 makes it begin at 12:30: it has cooled on Thursday at 00:30, waits for the
    yard until 06:00 and is out at 08:00, twelve hours after its promise: 12 x 6.00. The safety work behind it begins
    100 minutes after it, 80 short of its margin, and the work beside the second charge ends 40 minutes into its margin:
    120 minutes at 1.20 an hour. The stop of K2 lasts 80 minutes longer than the kiln is down: an interruption.
    """
    stops = (
        Stop("K1", 0, None, at(0, 6), at(0, 12, 30), "S0", "P1"),
        Stop("K1", None, 0, at(3, 0, 40), at(3, 4), "S3", "P1"),
        Stop("K1", 1, None, at(3, 8), at(3, 12), "S3", "P1"),
        Stop("K1", None, None, 7010, 7200, "S4", "P1", in_down=0),
        Stop("K1", None, None, 9310, 9500, "S6", "P1", in_down=1),
        Stop("K2", None, None, 1700, 1880, "S1", "P2", in_down=0),
    )
    places: dict[str, tuple[int, str, int | None, int | None]] = {
        "EMPTY": (at(0, 7), "P1", 0, None),
        "WAITS": (at(3, 1, 40), "P1", 1, None),
        "BEHIND": (at(3, 9, 40), "P1", 2, None),
        "RUNS": (8640, "P1", None, 1),
        "DOWN": (7080, "P1", 3, None),
        "UNLOADED": (9400, "P1", 4, None),
        "LONGER": (1770, "P2", 5, None),
        "AGAIN": (2200, "P2", None, 0),
    }
    jobs = {
        ref: PlacedJob(start, f"S{start // DAY_MIN}", ((person, "mechanical"),), stop, charge)
        for ref, (start, person, stop, charge) in places.items()
    }
    cost = Cost(set_up=6 * 2500, interruption=60_000, later=12 * 600, margin=2 * 120)
    starts = {"K1": (at(0, 12, 30), at(4, 0), LAST), "K2": (at(0, 6), LAST)}
    return Plan(starts, stops, jobs, cost, stated_total_cents=cost.total, form=2)
