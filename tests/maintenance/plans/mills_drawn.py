"""Small mills written to the database at random, seeded: charges, stops, people and jobs of every kind."""

from datetime import timedelta
from decimal import Decimal
from random import Random

from maintenance.models import Assignment, Placement, WorkOrder, WorkSkill
from plant.basics.sentences import Sentence
from plant.models import Absence, Charge, Downtime, Kiln, Mill, Person, Phase, Qualification, Shift, ShiftDuty, Skill
from tests.factories import MONDAY

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
#: The mills are looked at on this morning.
NOW = MONDAY + HOUR
STATES = ("empty", "empty", "still", "running", "any")
PHASES = ("loading", "heating_up", "drying", "conditioning", "cooling", "unloading")
CRAFTS = ("mechanical", "electrical")


def draw_mill(seed: int) -> None:
    """Write a mill of one or two kilns, some people and three to five jobs; some are placed, kept or under way."""
    chance = Random(f"mill {seed}")
    mill = Mill.objects.create(name="Fallow Bridge Sawmill", time_zone="Europe/Stockholm", horizon_days=14)
    kilns = [_kiln(mill, f"K{n + 1}", chance) for n in range(chance.choice((1, 1, 2)))]
    people = _people(chance)
    for n in range(chance.randrange(3, 6)):
        _job(n, chance.choice(kilns), people, chance)


def _kiln(mill: Mill, tag: str, chance: Random) -> Kiln:
    kiln = Kiln.objects.create(
        mill=mill,
        tag=tag,
        usable_m3=60,
        heating_medium=Kiln.HeatingMedium.HOT_WATER,
        humidifying=Kiln.Humidifying.WATER_SPRAY,
        climate_sensing=Kiln.ClimateSensing.PSYCHROMETER,
        max_people_inside=chance.choice((1, 2, 4)),
        lock_out_minutes=chance.choice((0, 30, 60)),
        restore_minutes=chance.choice((0, 30)),
    )
    at = NOW - chance.randrange(-10, 90) * HOUR
    phases = []
    for n in range(chance.randrange(0, 5)):
        at = _charge(kiln, n, at, phases, chance) + chance.choice((0, 0, 2, 6, 10, 24, 48)) * HOUR
    Phase.objects.bulk_create(phases)
    if chance.random() < 0.5:
        start_at = NOW + chance.randrange(-30, 100) * HOUR
        end_at = start_at + chance.randrange(2, 60) * HOUR
        is_open = start_at <= NOW and chance.random() < 0.6
        kind = chance.choice((Downtime.Kind.UNPLANNED, Downtime.Kind.PLANNED, Downtime.Kind.NO_TIMBER))
        Downtime.objects.create(
            kiln=kiln,
            kind=kind,
            start_at=start_at,
            end_at=None if is_open else end_at,
            share_lost=chance.choice((Decimal(1), Decimal(1), Decimal("0.5"))),
            cause="fan 3 bearing",
        )
    return kiln


def _charge(kiln: Kiln, n: int, begin_at, phases: list[Phase], chance: Random):
    lengths = [2, chance.randrange(4, 10), chance.randrange(12, 70), chance.randrange(2, 8), 4, 2]
    end_at = begin_at + sum(lengths) * HOUR
    basis = Charge.Basis.DONE if end_at <= NOW else Charge.Basis.RUNNING if begin_at <= NOW else Charge.Basis.PLANNED
    times = {"begin_at": begin_at, "end_at": end_at, "planned_begin_at": begin_at, "planned_end_at": end_at}
    charge = Charge.objects.create(
        kiln=kiln, number=f"{kiln.tag}-{n}", species="spruce", thickness_mm=50, volume_m3=55, basis=basis, **times
    )
    at = begin_at
    for kind, length in zip(PHASES, lengths, strict=True):
        until = at + length * HOUR
        phases.append(
            Phase(charge=charge, kind=kind, begin_at=at, end_at=until, planned_begin_at=at, planned_end_at=until)
        )
        at = until
    return end_at


def _people(chance: Random) -> list[Person]:
    shifts = [
        Shift.objects.create(
            code=code,
            name=code,
            weekdays="MO,TU,WE,TH,FR,SA",
            start_time=start,
            end_time=end,
            overtime_minutes=chance.choice((0, 60, 120)),
        )
        for code, start, end in (("early", "06:00", "14:00"), ("late", "14:00", "22:00"), ("day", "07:00", "16:00"))
    ]
    skills = {name: Skill.objects.create(code=name, name=name.replace("-", " ")) for name in (*CRAFTS, "lock-out")}
    people = []
    for n in range(chance.randrange(1, 4)):
        person = Person.objects.create(code=f"p{n}", name=f"Person {n}")
        # Some work a shift and the next one.
        for shift in shifts[:2] if chance.random() < 0.2 else [chance.choice(shifts)]:
            ShiftDuty.objects.create(person=person, shift=shift, from_on=MONDAY.date() - 90 * DAY)
        held = [name for name in skills if chance.random() < (0.8 if name == "lock-out" else 0.7)]
        for name in held:
            until = MONDAY.date() + chance.randrange(1, 12) * DAY if chance.random() < 0.15 else None
            Qualification.objects.create(person=person, skill=skills[name], valid_until=until)
        if chance.random() < 0.4:
            start_at = NOW + chance.randrange(0, 150) * HOUR
            Absence.objects.create(
                person=person, start_at=start_at, end_at=start_at + chance.choice((3, 24, 72)) * HOUR
            )
        people.append(person)
    return people


def _job(n: int, kiln: Kiln, people: list[Person], chance: Random) -> None:
    is_safety = chance.random() < 0.35
    due_at = NOW + chance.randrange(-2, 14) * DAY
    order = WorkOrder.objects.create(
        number=f"WO-{n + 1:04d}",
        title="Free the flap linkage",
        kiln=kiln,
        origin=WorkOrder.Origin.ASKED_FOR,
        needs_state=chance.choice(STATES),
        hours=Decimal(chance.choice((1, 2, 3, 5, 9))) / chance.choice((1, 2)),
        crew=chance.choice((1, 1, 2)),
        due_at=due_at,
        is_safety=is_safety,
        safety_at=due_at if is_safety and chance.random() < 0.8 else None,
        earliest_at=NOW + chance.randrange(0, 5) * DAY if chance.random() < 0.2 else None,
        cost_of_delay_per_day=chance.choice((0, 0, 40, 300)),
        raised_at=MONDAY,
    )
    for code in chance.sample(CRAFTS, chance.choice((0, 1, 1, 2))):
        WorkSkill.objects.create(work_order=order, skill=Skill.objects.get(code=code))
    if chance.random() < 0.12:
        begun_at = NOW - chance.randrange(1, 3) * HOUR
        WorkOrder.objects.filter(pk=order.pk).update(state=WorkOrder.State.UNDER_WAY, started_at=begun_at)
        Assignment.objects.create(work_order=order, person=chance.choice(people))
    elif chance.random() < 0.15:
        # A place that somebody gave it once, whether or not it holds.
        start_at = NOW + chance.randrange(-3, 120) * HOUR
        end_at = start_at + timedelta(hours=float(order.hours))
        Placement.objects.create(
            work_order=order,
            start_at=start_at,
            end_at=end_at,
            is_pinned=chance.random() < 0.5,
            why=Sentence.of("place.put", who="Ada"),
        )
        WorkOrder.objects.filter(pk=order.pk).update(state=WorkOrder.State.PLACED)
        for person in people[: order.crew]:
            Assignment.objects.create(work_order=order, person=person)
