"""Draw mills under a real load: work that is long against the openings and wanted at once, so that people are rivals.

Charges, people and shifts are those of `drawn_placing`; the work is another. `load_of` measures how heavy it is.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from statistics import mean, quantiles

from maintenance.placing.problem import LOCKED_OUT, Job, NeededState, Problem
from tests.maintenance.placing.drawn_placing import CRAFTS, DAY_MIN, HOUR_MIN, drawn_mill

GRID_MIN = 5
#: Of the work, so much wants each state; so long it takes [min]: least, most, and usual.
WORK: tuple[tuple[NeededState, int, tuple[int, int, int]], ...] = (
    ("running", 37, (20, 85, 45)),
    ("any", 19, (20, 90, 40)),
    ("empty", 25, (45, 215, 105)),
    ("still", 18, (35, 215, 100)),
)
#: Of locked-out work, so much takes much longer: least and most [min].
LONG, LONG_MIN = 0.13, (210, 345)
#: This share of the work is wanted within two days of being possible, the sooner the more.
AT_ONCE, AT_ONCE_DAYS, LATER_DAYS = 0.32, 2.0, (2.0, 5.3)
SAFETY, WAITS_FOR_PARTS, FOLLOWS, OF_TWO_LOCKED_OUT, OF_TWO = 0.08, 0.12, 0.10, 0.35, 0.12
JOBS_PER_KILN_AND_WEEK = 2.56
#: A safety date leaves at least so much room, so that every mill has a plan.
SAFETY_ROOM_MIN = 14 * DAY_MIN


def loaded_mill(kilns: int, weeks: int, seed: int) -> Problem:
    """Draw a mill of 12, 40 or 120 kilns whose crews have much to do."""
    base = drawn_mill(kilns, weeks, seed)
    chance = random.Random(f"loaded: {kilns} kilns, {weeks} weeks, seed {seed}")
    jobs: list[Job] = []
    for number in range(round(JOBS_PER_KILN_AND_WEEK * kilns * weeks)):
        jobs.append(_job(number, base, jobs, chance))
    return replace(base, jobs=tuple(jobs))


def _job(number: int, base: Problem, sooner: list[Job], chance: random.Random) -> Job:
    kiln = chance.choice(base.kilns).tag
    state, _, (least, most, usual) = chance.choices(WORK, [share for _, share, _ in WORK])[0]
    is_long = state in LOCKED_OUT and chance.random() < LONG
    drawn_min = chance.uniform(*LONG_MIN) if is_long else chance.triangular(least, most, usual)
    duration_min = round(drawn_min / GRID_MIN) * GRID_MIN
    possible_min = max(0, chance.randrange(-3 * DAY_MIN, base.horizon_min - 5 * DAY_MIN))
    parts_min = possible_min if chance.random() < WAITS_FOR_PARTS else 0
    at_once = chance.random() < AT_ONCE
    days = AT_ONCE_DAYS * chance.random() ** 2 if at_once else chance.uniform(*LATER_DAYS)
    due_min = possible_min + round(days * DAY_MIN)
    latest_min = due_min + chance.randrange(2 * DAY_MIN, 9 * DAY_MIN)
    price = chance.choice((5, 10, 20, 40, 80, 150) if at_once else (3, 5, 10, 20, 40))
    before = [one for one in sooner if one.kiln == kiln and not one.after and one.due_min <= due_min]
    after = ((chance.choice(before).ref, chance.choice((0, 0, 240, 1440))),) if before else ()
    after = after if chance.random() < FOLLOWS else ()
    safety = chance.random() < SAFETY and not after and possible_min + SAFETY_ROOM_MIN < base.horizon_min - DAY_MIN
    craft = chance.choices(CRAFTS, (40, 28, 17, 15))[0]
    both = chance.random() < (OF_TWO_LOCKED_OUT if state in LOCKED_OUT else OF_TWO)
    return Job(
        ref=f"J{number + 1}",
        kiln=kiln,
        needs_state=state,
        duration_min=duration_min,
        crew=((craft, 2),) if both and craft in CRAFTS[:2] else ((craft, 1), (CRAFTS[0], 1)) if both else ((craft, 1),),
        earliest_min=possible_min if not parts_min else max(0, possible_min - DAY_MIN),
        parts_min=parts_min,
        due_min=due_min,
        latest_min=max(latest_min, possible_min + SAFETY_ROOM_MIN) if safety else latest_min,
        safety=safety,
        delay_cents_per_hour=price,
        late_cents_per_hour=5 * price,
        leave_out_cents=price * (base.horizon_min + 2 * DAY_MIN - due_min) // HOUR_MIN + 5000,
        after=after,
    )


@dataclass(frozen=True)
class Load:
    """How heavy the work of a mill is: minutes, shares of what is there, days from possible to due."""

    duration_mean_min: float
    duration_tenth_min: float
    duration_longest_min: int
    locked_out_mean_min: float
    people: float
    openings: float
    days_mean: float
    days_tenth: float
    due_within_two_days: float


def load_of(problem: Problem) -> Load:
    """Measure it."""
    durations = [job.duration_min for job in problem.jobs]
    days = [(job.due_min - job.from_min) / DAY_MIN for job in problem.jobs]
    locked_out = [job for job in problem.jobs if job.needs_state in LOCKED_OUT]
    away = {one.ref: one.away for one in problem.people}
    there_min = sum(
        shift.end_min - shift.start_min - sum(_shared(shift.start_min, shift.end_min, *span) for span in away[ref])
        for shift in problem.shifts
        for ref in shift.people
    )
    open_min = sum(
        _shared(charge.start_min + charge.length_min, following.start_min, shift.start_min, shift.end_min)
        for kiln in problem.kilns
        for charge, following in zip(kiln.charges, kiln.charges[1:], strict=False)
        for shift in problem.shifts
    )
    return Load(
        duration_mean_min=mean(durations),
        duration_tenth_min=quantiles(durations, n=10)[8],
        duration_longest_min=max(durations),
        locked_out_mean_min=mean(job.duration_min for job in locked_out),
        people=sum(job.duration_min * job.crew_size for job in problem.jobs) / there_min,
        openings=sum(job.duration_min * job.crew_size for job in locked_out) / open_min,
        days_mean=mean(days),
        days_tenth=quantiles(days, n=10)[0],
        due_within_two_days=sum(one <= AT_ONCE_DAYS for one in days) / len(days),
    )


def _shared(start: int, end: int, other_start: int, other_end: int) -> int:
    return max(0, min(end, other_end) - max(start, other_start))
