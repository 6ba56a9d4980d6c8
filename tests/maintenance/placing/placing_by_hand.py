"""Small placing problems made by hand, and the file of one."""

from __future__ import annotations

import json
from dataclasses import replace

from maintenance.placing.problem import Charge, Issued, Job, Kiln, Person, Problem, Shift, problem_to_json
from tests.maintenance.placing.drawn_placing import DAY_MIN, ORIGIN


def a_job(ref: str = "J1", **changes: object) -> Job:
    """Give a plain job of kiln K1, with what is asked for changed."""
    plain = Job(
        ref=ref,
        kiln="K1",
        needs_state="any",
        duration_min=60,
        crew=(("mechanical", 1),),
        earliest_min=0,
        parts_min=0,
        due_min=2 * DAY_MIN,
        latest_min=4 * DAY_MIN,
        safety=False,
        delay_cents_per_hour=60,
        late_cents_per_hour=120,
        leave_out_cents=50_000,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def a_mill(*jobs: Job, **changes: object) -> Problem:
    """Give a mill of one kiln for a week: a charge in progress until Tuesday 04:00, the next one from 06:00."""
    charges = (
        Charge(-600, 120, 480, 1440, 480, 180, 180),
        Charge(2280, 120, 480, 4000, 600, 300, 120),
        Charge(7 * DAY_MIN + 3000, 0, 0, 0, 0, 0, 0),
    )
    kiln = Kiln("K1", 4000, 60, 30, 300, 2500, 60_000, 3, charges)
    people = (
        Person("P1", frozenset({"mechanical", "lock-out"})),
        Person("P2", frozenset({"mechanical", "electrical"})),
        Person("P3", frozenset({"electrical", "lock-out"}), ((DAY_MIN, 2 * DAY_MIN),)),
    )
    shifts = tuple(
        Shift(f"S{day}", day * DAY_MIN + 360, day * DAY_MIN + 840, day * DAY_MIN + 960, ("P1", "P2", "P3"))
        for day in range(6)
    )
    plain = Problem(ORIGIN, 7 * DAY_MIN, 3 * DAY_MIN, 4500, (kiln,), people, shifts, jobs)
    return replace(plain, **changes)  # type: ignore[arg-type]


def a_mixed_mill() -> Problem:
    """Give a mill that has a job of every kind, an interruption that pays, a pin and an issued job."""
    jobs = (
        a_job("RUN", needs_state="running", due_min=0, delay_cents_per_hour=30),
        a_job("NOW", needs_state="still", safety=True, latest_min=900, due_min=900),
        a_job("IN", needs_state="empty", crew=(("mechanical", 1), ("electrical", 1)), due_min=DAY_MIN),
        a_job("TOO", needs_state="still", due_min=DAY_MIN, duration_min=120),
        a_job("AFTER", after=(("IN", 30),), due_min=0, delay_cents_per_hour=10),
        a_job("OUT", leave_out_cents=10, due_min=0, delay_cents_per_hour=600),
        a_job("PIN", duration_min=30),
        a_job("SENT", duration_min=45),
    )
    issued = {
        "PIN": Issued(3 * DAY_MIN + 400, frozenset({"P2"})),
        "SENT": Issued(3 * DAY_MIN + 500, frozenset({"P1"})),
    }
    return a_mill(*jobs, issued=issued, move_cents=1500, pinned=frozenset({"PIN"}))


def file_of(problem: Problem) -> dict[str, object]:
    """Give the problem as its file has it, free to be changed."""
    copied: dict[str, object] = json.loads(json.dumps(problem_to_json(problem)))
    return copied


def as_bytes(problem: Problem) -> bytes:
    """Give the file of a problem."""
    return json.dumps(problem_to_json(problem)).encode()
