"""Draw placing problems, seeded: a mill of a given size, and small ones that can be searched through."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date

from maintenance.placing.problem import (
    STATES,
    Charge,
    Issued,
    Job,
    Kiln,
    NeededState,
    Person,
    Problem,
    Shift,
)

DAY_MIN, WEEK_MIN, HOUR_MIN = 1440, 10080, 60
ORIGIN = date(2026, 3, 2)
#: Technicians for so many kilns.
TECHNICIANS = {12: 5, 40: 10, 120: 20}
JOBS_PER_KILN_AND_WEEK = 2.5
#: So many weeks of work are waiting at the start.
BACKLOG_WEEKS = 1.2
SATURDAY = 5
CRAFTS = ("mechanical", "electrical", "heating", "measuring")


def drawn_mill(kilns: int, weeks: int, seed: int) -> Problem:
    """Draw a mill: charges of two and a half to eight days, gaps that are mostly short, two shifts a working day."""
    chance = random.Random(f"{kilns} kilns, {weeks} weeks, seed {seed}")
    horizon_min = weeks * WEEK_MIN
    people = _people(TECHNICIANS[kilns], horizon_min, chance)
    return Problem(
        origin=ORIGIN,
        horizon_min=horizon_min,
        max_delay_min=3 * DAY_MIN,
        overtime_cents_per_person_hour=4500,
        kilns=tuple(_kiln(number, horizon_min, chance) for number in range(kilns)),
        people=people,
        shifts=_shifts(people, weeks),
        jobs=tuple(_jobs(kilns, weeks, horizon_min, chance)),
    )


def _kiln(number: int, horizon_min: int, chance: random.Random) -> Kiln:
    usual_min = chance.randrange(70, 150) * HOUR_MIN
    charges: list[Charge] = []
    start_min = -chance.randrange(0, usual_min)
    while start_min < horizon_min:
        drying_min = int(usual_min * chance.uniform(0.6, 1.5)) - 20 * HOUR_MIN
        charge = Charge(
            start_min, 120, chance.randrange(6, 12) * 60, drying_min, chance.randrange(6, 14) * 60, 300, 120
        )
        charges.append(charge)
        gap_min = chance.choice((0, 0, 60, 120, 240, 240, 480, 720, 1200, 2400))
        start_min = charge.start_min + charge.length_min + gap_min
    charges.append(Charge(start_min, 0, 0, 0, 0, 0, 0))
    return Kiln(
        tag=f"K{number + 1}",
        drying_cents_per_hour=chance.randrange(2500, 6001, 100),
        set_up_min=chance.choice((45, 60, 90)),
        restore_min=chance.choice((20, 30, 45)),
        reheat_min=chance.choice((180, 300, 360)),
        set_up_cents=chance.randrange(2000, 4001, 100),
        interruption_cents=chance.randrange(40_000, 90_001, 1000),
        max_people_inside=chance.choice((2, 3, 4)),
        charges=tuple(charges),
    )


def _people(count: int, horizon_min: int, chance: random.Random) -> tuple[Person, ...]:
    people = []
    for number in range(count):
        skills = {CRAFTS[number % 2], *chance.sample(CRAFTS, chance.randint(1, 2))}
        if number % 5 in (0, 1, 3):
            skills.add("lock-out")
        if number in (0, 1):
            skills |= set(CRAFTS)
        away = []
        for day in range(horizon_min // DAY_MIN):
            if chance.random() < 0.05:
                away.append((day * DAY_MIN, (day + 1) * DAY_MIN))
            elif chance.random() < 0.05:
                away.append((day * DAY_MIN + 8 * HOUR_MIN, day * DAY_MIN + 10 * HOUR_MIN))
        people.append(Person(f"P{number + 1}", frozenset(skills), tuple(away)))
    return tuple(people)


def _shifts(people: tuple[Person, ...], weeks: int) -> tuple[Shift, ...]:
    """Early and late on working days, the crews changing every week; a short one on Saturdays."""
    shifts = []
    for day in range(7 * weeks):
        week, weekday = divmod(day, 7)
        at = day * DAY_MIN
        early = tuple(one.ref for number, one in enumerate(people) if number % 5 % 2 == week % 2 or number % 5 == 4)
        late = tuple(one.ref for one in people if one.ref not in early)
        if weekday < SATURDAY:
            shifts.append(Shift(f"E{day}", at + 360, at + 840, at + 960, early))
            shifts.append(Shift(f"L{day}", at + 840, at + 1320, at + 1440, late))
        elif weekday == SATURDAY:
            shifts.append(Shift(f"S{day}", at + 360, at + 720, at + 840, late))
    return tuple(shifts)


def _jobs(kilns: int, weeks: int, horizon_min: int, chance: random.Random) -> list[Job]:
    count = round(JOBS_PER_KILN_AND_WEEK * kilns * weeks)
    jobs: list[Job] = []
    for number in range(count):
        state: NeededState = chance.choices(("running", "empty", "still", "any"), (30, 35, 20, 15))[0]
        duration_min = chance.choice((20, 30, 30, 45, 60, 60, 90, 90, 120))
        safety = chance.random() < 0.08
        last_min = horizon_min - 10 * DAY_MIN
        earliest_min = 0 if chance.random() < BACKLOG_WEEKS / weeks else chance.randrange(0, last_min)
        parts_min = earliest_min + chance.randrange(0, 5 * DAY_MIN) if chance.random() < 0.25 else 0
        due_min = max(earliest_min, parts_min) + chance.randrange(3 * DAY_MIN, 18 * DAY_MIN)
        latest_min = due_min + chance.randrange(3 * DAY_MIN, 12 * DAY_MIN)
        if safety:
            latest_min = max(latest_min, max(earliest_min, parts_min) + 16 * DAY_MIN)
        delay = chance.choice((10, 20, 40, 40, 80, 150, 300))
        kiln = f"K{chance.randrange(kilns) + 1}"
        before = [one for one in jobs if one.kiln == kiln and not one.after and one.needs_state != "still"]
        after = ((before[-1].ref, chance.choice((0, 0, 240, 1440))),) if before and chance.random() < 0.06 else ()
        craft = chance.choices(CRAFTS, (45, 30, 15, 10))[0]
        jobs.append(
            Job(
                ref=f"J{number + 1}",
                kiln=kiln,
                needs_state=state,
                duration_min=duration_min,
                crew=((craft, 1),)
                if chance.random() < 0.8
                else ((craft, 1), (chance.choice(CRAFTS[:2]), 1))
                if craft in CRAFTS[2:]
                else ((craft, 2),),
                earliest_min=earliest_min,
                parts_min=parts_min,
                due_min=due_min,
                latest_min=latest_min,
                safety=safety and not after,
                delay_cents_per_hour=delay,
                late_cents_per_hour=delay * chance.choice((2, 4, 6)),
                leave_out_cents=delay * chance.randrange(200, 900),
                after=after,
            )
        )
    return jobs


def drawn_small(seed: int, jobs: int = 3) -> Problem:
    """Draw a problem so small that every plan can be looked at: one or two kilns, coarse times, two people."""
    chance = random.Random(f"small {seed}")
    kilns = tuple(_small_kiln(number, chance) for number in range(chance.choice((1, 1, 2))))
    people = tuple(
        Person(
            f"P{number}",
            frozenset(chance.choice((("a", "lock-out"), ("a", "b"), ("b", "lock-out"), ("a", "b", "lock-out")))),
            ((chance.randrange(4), 4 + chance.randrange(4)),) if chance.random() < 0.3 else (),
        )
        for number in range(2)
    )
    shifts = tuple(
        Shift(f"S{number}", 8 * number + 1, 8 * number + 5, 8 * number + 6 + chance.randrange(2), ("P0", "P1"))
        for number in range(2)
    )
    drawn: list[Job] = []
    for number in range(jobs):
        earliest_min = chance.choice((0, 0, 2, 5))
        due_min = chance.randrange(0, 12)
        skills = [skill for skill in ("a", "b") if any(skill in person.skills for person in people)]
        drawn.append(
            Job(
                ref=f"J{number}",
                kiln=chance.choice(kilns).tag,
                needs_state=chance.choice(STATES),
                duration_min=chance.randrange(1, 4),
                crew=((chance.choice(skills), 1),),
                earliest_min=earliest_min,
                parts_min=0,
                due_min=due_min,
                latest_min=due_min + chance.randrange(0, 6),
                safety=chance.random() < 0.1,
                delay_cents_per_hour=chance.randrange(0, 3000),
                late_cents_per_hour=chance.randrange(0, 3000),
                leave_out_cents=chance.randrange(0, 1500),
                after=((f"J{number - 1}", chance.randrange(3)),) if number and chance.random() < 0.2 else (),
            )
        )
    issued = {}
    if chance.random() < 0.3:
        issued = {"J0": Issued(chance.randrange(1, 8), frozenset({chance.choice(("P0", "P1"))}))}
    return Problem(
        ORIGIN, 16, chance.choice((0, 3, 6)), chance.randrange(0, 5000), kilns, people, shifts, tuple(drawn), issued, 40
    )


def _small_kiln(number: int, chance: random.Random) -> Kiln:
    first = chance.choice((-3, 0, 1, 2))
    lengths = (0, chance.randrange(2), 2 + chance.randrange(3), chance.randrange(2), chance.randrange(2), 0)
    charges = [Charge(first, *lengths)]
    charges.append(Charge(max(16, first + sum(lengths) + chance.randrange(4)), 0, 0, 0, 0, 0, 0))
    if chance.random() < 0.5:
        middle = first + sum(lengths) + chance.randrange(5)
        charges.insert(1, Charge(middle, 1, 0, 2, 0, 1, 0))
        charges[2] = Charge(max(16, middle + 4), 0, 0, 0, 0, 0, 0)
    return Kiln(
        tag=f"K{number}",
        drying_cents_per_hour=chance.randrange(0, 6000),
        set_up_min=chance.randrange(0, 2),
        restore_min=chance.randrange(0, 2),
        reheat_min=chance.randrange(0, 2),
        set_up_cents=chance.randrange(0, 100),
        interruption_cents=chance.randrange(0, 300),
        max_people_inside=1 + chance.randrange(2),
        charges=tuple(charges),
    )


def with_standstills(problem: Problem, seed: int) -> Problem:
    """Let charges stand, kilns be locked out and people be inside, in about every second kiln."""
    chance = random.Random(f"standstills {seed}")
    return replace(problem, kilns=tuple(_standing_kiln(kiln, problem, chance) for kiln in problem.kilns))


def _standing_kiln(kiln: Kiln, problem: Problem, chance: random.Random) -> Kiln:
    charges = tuple(
        replace(charge, goes_on=chance.random() < 0.4 and (n > 0 or charge.start_min > 0))
        for n, charge in enumerate(kiln.charges)
    )
    inside: tuple[tuple[int, int, int], ...] = ()
    if chance.random() < 0.4:
        at = chance.randrange(problem.horizon_min)
        inside = ((at - 2, at + 3, 1), (at, at + 1, chance.randint(0, 2)))
    changed = replace(kiln, charges=charges, inside=inside)
    if chance.random() < 0.4:
        by = chance.choice(problem.people).ref
        changed = replace(changed, locked_out_by=by, locked_out_min=chance.choice((0, 0, 2)))
    return changed


def drawn_odd(seed: int) -> Problem:
    """Draw a problem of any kind that a file may hold: crews of several, pins, links across kilns, times of nothing."""
    chance = random.Random(f"odd {seed}")
    skills = ("a", "b", "lock-out")
    kilns = tuple(_odd_kiln(number, chance) for number in range(chance.randint(1, 3)))
    people = tuple(
        Person(
            f"P{number}",
            frozenset(chance.sample(skills, chance.randint(1, 3))),
            tuple((at, at + chance.randrange(20)) for at in (chance.randrange(-5, 90),) * chance.randint(0, 2)),
        )
        for number in range(chance.randint(1, 4))
    )
    everybody = [person.ref for person in people]
    shifts = []
    for number in range(chance.randint(1, 4)):
        start_min = chance.randrange(-5, 80)
        end_min = start_min + chance.randrange(0, 30)
        refs = tuple(chance.sample(everybody, chance.randint(0, len(everybody))))
        shifts.append(Shift(f"S{number}", start_min, end_min, end_min + chance.randrange(0, 15), refs))
    known = [skill for skill in skills if any(skill in person.skills for person in people)]
    longest = max(shift.overtime_end_min - shift.start_min for shift in shifts)
    jobs = []
    for number in range(chance.randint(0, 7)):
        kiln = chance.choice(kilns)
        most = kiln.max_people_inside
        crew = {skill: chance.randint(0, 2) for skill in known if chance.random() < 0.6}
        while sum(crew.values()) > most:
            crew.popitem()
        due_min = chance.randrange(-10, 90)
        jobs.append(
            Job(
                ref=f"J{number}",
                kiln=kiln.tag,
                needs_state=chance.choice(STATES),
                duration_min=chance.randint(0, min(longest, 15)),
                crew=tuple(crew.items()),
                earliest_min=chance.choice((-3, 0, 0, 10, 50)),
                parts_min=chance.choice((0, 0, 0, 30)),
                due_min=due_min,
                latest_min=due_min + chance.randrange(0, 60),
                safety=chance.random() < 0.1,
                delay_cents_per_hour=chance.choice((0, 7, 600, 6001)),
                late_cents_per_hour=chance.choice((0, 11, 900)),
                leave_out_cents=chance.choice((0, 500, 5000, 50_000)),
                after=tuple((f"J{one}", chance.randrange(10)) for one in range(number) if chance.random() < 0.15),
            )
        )
    issued = {
        job.ref: Issued(
            chance.randrange(0, 80), frozenset(chance.sample(everybody, min(job.crew_size, len(everybody))))
        )
        for job in jobs
        if chance.random() < 0.3
    }
    pinned = frozenset(ref for ref in issued if chance.random() < 0.08)
    return Problem(
        origin=ORIGIN,
        horizon_min=100,
        max_delay_min=chance.choice((0, 10, 40)),
        overtime_cents_per_person_hour=chance.choice((0, 4500)),
        kilns=kilns,
        people=people,
        shifts=tuple(shifts),
        jobs=tuple(jobs),
        issued=issued,
        move_cents=chance.choice((0, 50)),
        pinned=pinned,
    )


def _odd_kiln(number: int, chance: random.Random) -> Kiln:
    charges = []
    start_min = chance.randrange(-30, 20)
    while start_min < 100:
        lengths = [chance.choice((0, 1, 5, 15)) for _ in range(6)]
        charges.append(Charge(start_min, *lengths))
        start_min += sum(lengths) + chance.choice((0, 1, 10, 30))
    charges.append(Charge(start_min, 3, 3, 3, 3, 3, 3))
    return Kiln(
        tag=f"K{number}",
        drying_cents_per_hour=chance.choice((0, 100, 4001)),
        set_up_min=chance.choice((0, 2, 5)),
        restore_min=chance.choice((0, 1, 3)),
        reheat_min=chance.choice((0, 4)),
        set_up_cents=chance.choice((0, 30)),
        interruption_cents=chance.choice((0, 200)),
        max_people_inside=chance.randint(0, 3),
        charges=tuple(charges),
    )
