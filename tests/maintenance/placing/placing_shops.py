"""Job shops with a published optimum, as placing problems."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from maintenance.placing.problem import Charge, Kiln, Person, Problem, Shift
from tests.maintenance.placing.drawn_placing import ORIGIN
from tests.maintenance.placing.placing_by_hand import a_job

TABLE = Path(__file__).parents[2] / "reference" / "placing" / "job_shops.csv"


def job_shop(name: str) -> tuple[Problem, int]:
    """Make a placing problem of a job shop: a machine is a person, the makespan the price of the last job."""
    with TABLE.open(encoding="utf-8", newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["shop"] == name]
    machines, durations = (
        [[int(number) for number in row[column].split()] for row in rows] for column in ("machines", "durations")
    )
    length_min = sum(map(sum, durations))
    last = a_job(
        "END", duration_min=0, crew=(), due_min=0, latest_min=length_min, late_cents_per_hour=0, safety=True,
        after=tuple((f"{row}-{len(steps) - 1}", 0) for row, steps in enumerate(durations)),
    )  # fmt: skip
    work = [
        replace(
            last,
            ref=f"{row}-{step}",
            duration_min=duration,
            crew=((f"machine {machines[row][step]}", 1),),
            safety=False,
            delay_cents_per_hour=0,
            after=((f"{row}-{step - 1}", 0),) if step else (),
        )
        for row, steps in enumerate(durations)
        for step, duration in enumerate(steps)
    ]
    machine_numbers = sorted({number for steps in machines for number in steps})
    people = tuple(Person(f"M{number}", frozenset({f"machine {number}"})) for number in machine_numbers)
    shift = Shift("S", 0, length_min + 1, length_min + 1, tuple(person.ref for person in people))
    kiln = Kiln("K1", 0, 0, 0, 0, 0, 0, 0, (Charge(length_min, 0, 0, 0, 0, 0, 0),))
    problem = Problem(ORIGIN, length_min, 0, 0, (kiln,), people, (shift,), (*work, last))
    return problem, int(rows[0]["least_makespan"])
