"""A mill with few or many rows of what a page lists, written in bulk and always alike.

Each ``fill`` function writes ``count`` rows of its subject, and what hangs on them, in the same shape however many.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID

from django.db import models

from inventory.models import (
    Bin,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    ReorderAdvice,
    Reservation,
    StockLevel,
    StockMove,
    Supplier,
    SupplierTerms,
)
from maintenance.models import (
    Assignment,
    CheckItem,
    CheckPoint,
    Defect,
    Finding,
    Firing,
    FunctionCheck,
    MissedOccurrence,
    Placement,
    Plan,
    ProofTest,
    Sitting,
    StandingTask,
    TaskSheet,
    Watch,
    WorkOrder,
    WorkSkill,
)
from plant import clock
from plant.access import Role
from plant.basics.sentences import typed
from plant.models import (
    Absence,
    Change,
    Channel,
    ChannelName,
    Charge,
    Component,
    ComponentKind,
    Downtime,
    FailureMode,
    FileIntake,
    Job,
    JobAttempt,
    Kiln,
    Mill,
    Person,
    Phase,
    Qualification,
    Reading,
    ReadingSource,
    RoleHeld,
    Shift,
    ShiftDuty,
    Skill,
    User,
)

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
CHARGE_EVERY = timedelta(days=6)
PHASE_HOURS = (
    ("loading", 2),
    ("heating_up", 8),
    ("drying", 90),
    ("conditioning", 10),
    ("cooling", 6),
    ("unloading", 2),
)
FEW_KILNS = 10
Row = TypeVar("Row", bound=models.Model)


def write(rows: Iterable[Row]) -> list[Row]:
    """Store rows of one table; they know their ids afterwards."""
    made = list(rows)
    return list(type(made[0])._default_manager.bulk_create(made, batch_size=2000)) if made else made


@dataclass(frozen=True)
class Ground:
    """What every page stands on: a mill, somebody who may see all, a little of the catalogue, and kilns."""

    now: datetime
    mill: Mill
    person: Person
    user: User
    fan: ComponentKind
    door: ComponentKind
    mode: FailureMode
    sheet: TaskSheet
    proof: TaskSheet
    point: CheckPoint
    kilns: list[Kiln]
    fans: list[Component]


def lay_ground() -> Ground:
    """Write the ground."""
    mill = Mill.objects.create(name="Fallow Bridge Sawmill")
    person = Person.objects.create(code="oda", name="Oda")
    user = User.objects.create(username="oda", person=person)
    write(RoleHeld(user=user, role=role) for role in Role.values)
    fan = ComponentKind.objects.create(code="fan", name="Fan", group="air", end_view_no=5)
    door = ComponentKind.objects.create(code="escape-door", name="Escape door", group="safety", end_view_no=2)
    mode = FailureMode.objects.create(kind=fan, code="fan-bearing", name="worn bearing")
    sheet = TaskSheet.objects.create(code="fan-grease", title="Grease the fans", kind=fan, needs_state="empty", hours=2)
    proof = TaskSheet.objects.create(
        code="door-test", title="Try the door", kind=door, needs_state="any", hours=1, is_proof_test=True
    )
    point = CheckPoint.objects.create(
        code="fan-blades", kind=fan, end_view_no=5, what="blades", seen_in="open_empty", per="component"
    )
    kilns = fill_kilns(mill, FEW_KILNS)
    fans = write(Component(kiln=kiln, kind=fan, tag="fan-1", name="fan 1") for kiln in kilns)
    return Ground(clock.now(), mill, person, user, fan, door, mode, sheet, proof, point, kilns, fans)


def fill_kilns(mill: Mill, count: int, prefix: str = "K") -> list[Kiln]:
    """Write kilns."""
    return write(
        Kiln(
            mill=mill,
            tag=f"{prefix}{n + 1}",
            usable_m3=Decimal(60 + n % 5 * 10),
            heating_medium="hot_water",
            humidifying="water_spray",
            climate_sensing="psychrometer",
        )
        for n in range(count)
    )


def with_kilns(ground: Ground, count: int) -> tuple[list[Kiln], list[Component]]:
    """Return that many kilns with a fan each, those of the ground among them."""
    more = fill_kilns(ground.mill, count - len(ground.kilns), "L")
    fans = write(Component(kiln=kiln, kind=ground.fan, tag="fan-1", name="fan 1") for kiln in more)
    return ground.kilns + more, ground.fans + fans


def fill_charges(ground: Ground, kilns: Sequence[Kiln], each: int, ahead: int = 12) -> list[Charge]:
    """Write charges of each kiln in a row, ``ahead`` of them to come, each with its phases."""
    charges = []
    for at, kiln in enumerate(kilns):
        # Each kiln is somewhere else in its charge.
        first_at = ground.now - CHARGE_EVERY * (each - ahead) - timedelta(hours=7 * at % 118 - 24)
        for n in range(each):
            begin_at = first_at + CHARGE_EVERY * n
            end_at = begin_at + timedelta(hours=118)
            basis = "done" if end_at <= ground.now else "running" if begin_at <= ground.now else "planned"
            charges.append(
                Charge(
                    kiln=kiln,
                    number=f"C{n + 1}",
                    species=("spruce", "pine")[n % 2],
                    thickness_mm=(25, 50, 63)[n % 3],
                    volume_m3=Decimal(55),
                    basis=basis,
                    planned_begin_at=begin_at,
                    planned_end_at=end_at,
                    begin_at=begin_at,
                    end_at=end_at,
                    end_spread_h=Decimal(4),
                )
            )
    write(charges)
    write(phase for charge in charges for phase in _phases(charge))
    return charges


def _phases(charge: Charge) -> Iterable[Phase]:
    at = charge.begin_at
    for kind, hours in PHASE_HOURS:
        until = at + HOUR * hours
        yield Phase(charge=charge, kind=kind, planned_begin_at=at, planned_end_at=until, begin_at=at, end_at=until)
        at = until


def fill_downtimes(ground: Ground, fans: Sequence[Component], count: int, over: timedelta = 365 * DAY) -> None:
    """Spread records over the time up to now; one kiln in ten stands at this moment."""
    each = max(count // len(fans), 1)
    apart = over / each
    rows = []
    for at, fan in enumerate(fans):
        for n in range(each):
            start_at = ground.now - apart * (each - n) + HOUR
            end_at: datetime | None = start_at + min(apart * 2 / 3, timedelta(hours=3 + n % 9))
            if n == each - 1 and at % 10 == 0:
                end_at = None
            rows.append(
                Downtime(
                    kiln_id=fan.kiln_id,
                    component=fan,
                    failure_mode=ground.mode if n % 2 else None,
                    kind=("unplanned", "unplanned", "planned", "no_timber")[n % 4] if end_at else "unplanned",
                    start_at=start_at,
                    end_at=end_at,
                    share_lost=Decimal("0.4") if n % 5 == 0 and end_at else Decimal(1),
                    cause=f"cause {n % 40}",
                )
            )
    write(rows)


def fill_orders(ground: Ground, fans: Sequence[Component], count: int, **given: Any) -> list[WorkOrder]:
    """Write jobs that are to be done, on the kilns in turn; one in ten is safety work."""
    facts = {"state": "ready", "needs_state": "empty", "sheet": ground.sheet, **given}
    return write(
        WorkOrder(
            number=f"WO-{n + 1:05d}",
            title="Grease the fans",
            kiln_id=fans[n % len(fans)].kiln_id,
            component=fans[n % len(fans)],
            origin="asked_for",
            hours=Decimal(1 + n % 4),
            due_at=ground.now + DAY * (n % 60 - 5),
            safety_at=ground.now + DAY * (n % 60) if n % 10 == 0 else None,
            is_safety=n % 10 == 0,
            cost_of_delay_per_day=Decimal(n % 97),
            raised_at=ground.now - 10 * DAY,
            **facts,
        )
        for n in range(count)
    )


def fill_places(ground: Ground, orders: Sequence[WorkOrder], over: timedelta) -> None:
    """Place jobs over the time ahead and give them to the person of the ground."""
    apart = over / len(orders)
    write(
        Placement(work_order=order, start_at=ground.now + apart * n, end_at=ground.now + apart * n + HOUR)
        for n, order in enumerate(orders)
    )
    write(Assignment(work_order=order, person=ground.person) for order in orders)


def fill_crew(ground: Ground, count: int) -> list[Person]:
    """Write people with a skill, a shift, an absence ahead and a sign-in."""
    skill = Skill.objects.create(code="mechanical", name="mechanical work")
    shift = Shift.objects.create(
        code="early", name="early", weekdays="MO,TU,WE,TH,FR", start_time="06:00", end_time="14:00"
    )
    people = write(Person(code=f"p{n}", name=f"Person {n}") for n in range(count))
    today = ground.now.date()
    write(Qualification(person=one, skill=skill, valid_until=today + DAY * (n % 90)) for n, one in enumerate(people))
    write(ShiftDuty(person=one, shift=shift, from_on=today - 90 * DAY) for one in people)
    write(Absence(person=one, start_at=ground.now + DAY, end_at=ground.now + 3 * DAY) for one in people)
    users = write(User(username=one.code, person=one) for one in people[: count // 2])
    write(RoleHeld(user=user, role=Role.TECHNICIAN) for user in users)
    return people


def fill_parts(ground: Ground, count: int) -> list[Part]:
    """Write parts with stock, terms, advice, a reservation and an order on its way."""
    bins = write(Bin(code=f"C{n}") for n in range(10))
    supplier = Supplier.objects.create(code="alder", name="Alder Works")
    today = ground.now.date()
    parts = write(
        Part(code=f"part-{n}", name=f"Part {n}", bin=bins[n % 10], criticality=("stops", "slows", "waits")[n % 3])
        for n in range(count)
    )
    write(SupplierTerms(part=part, supplier=supplier, lead_time_days=21, unit_price=3) for part in parts)
    write(StockLevel(part=part, bin_id=part.bin_id, on_hand=n % 7) for n, part in enumerate(parts))
    write(
        ReorderAdvice(
            part=part,
            as_of=ground.now,
            on_hand=n % 7,
            reserved=1,
            on_order=0,
            planned_need=1,
            reorder_point=3,
            order_quantity=5 if n % 4 == 0 else 0,
            is_late=n % 9 == 0,
            reason=typed("Two are used a month."),
        )
        for n, part in enumerate(parts)
    )
    write(
        Reservation(part=part, quantity=1, needed_on=today, source=f"WO-{n + 1:05d}", created_at=ground.now)
        for n, part in enumerate(parts)
    )
    fill_purchases(ground, parts, supplier, count)
    return parts


def fill_purchases(ground: Ground, parts: Sequence[Part], supplier: Supplier, count: int) -> None:
    """Write orders of two lines each; most are on their way, some late, some wait to be sent."""
    today = ground.now.date()
    orders = write(
        PurchaseOrder(
            number=f"PO-{n + 1:05d}",
            supplier=supplier,
            state=("sent", "drawn_up", "part_arrived", "sent")[n % 4],
            drawn_up_at=ground.now - DAY * (n % 300),
            promised_on=today + DAY * (n % 50 - 10),
        )
        for n in range(count)
    )
    write(
        PurchaseOrderLine(order=order, part=parts[(n + k) % len(parts)], quantity=5, unit_price=3, reason=typed("Low."))
        for n, order in enumerate(orders)
        for k in (0, 1)
    )


def fill_ledger(ground: Ground, part: Part, count: int) -> None:
    """Write moves of a part over fourteen months, receipts and issues in turn."""
    write(
        StockMove(
            key=UUID(int=n + 1),
            part=part,
            bin_id=part.bin_id,
            kind=("receipt", "issue")[n % 2],
            quantity=(2, -1)[n % 2],
            at=ground.now - 400 * DAY * (count - n) / count,
            by=ground.user,
        )
        for n in range(count)
    )


def fill_changes(ground: Ground, subject: models.Model, count: int) -> None:
    """Write history of something."""
    write(
        Change(
            at=ground.now - HOUR * (count - n),
            by=ground.user,
            subject_kind=subject._meta.label_lower,
            subject_key=str(subject.pk),
            act="particulars",
            before={"name": n},
            after={"name": n + 1},
        )
        for n in range(count)
    )


def fill_defects(ground: Ground, fans: Sequence[Component], count: int) -> list[Defect]:
    """Write defects that are not mended, on the kilns in turn; some have a work order, some block entry."""
    defects = write(
        Defect(
            kiln_id=fans[n % len(fans)].kiln_id,
            component=fans[n % len(fans)],
            failure_mode=ground.mode,
            found_at=ground.now - HOUR * n,
            found_by=ground.user,
            what=f"wobbles {n}",
            blocks_entry=n % 10 == 0,
        )
        for n in range(count)
    )
    orders = fill_orders(ground, fans, count // 2)
    for order, defect in zip(orders, defects, strict=False):
        order.defect = defect
    WorkOrder.objects.bulk_update(orders, ["defect"], batch_size=500)
    return defects


def fill_checks(ground: Ground, fans: Sequence[Component], over: int, points: int) -> None:
    """Write checks that are over, and one under way at each kiln with so many points, half of them looked at."""
    write(
        FunctionCheck(
            number=f"FC-{n + 1:05d}",
            kiln_id=fans[n % len(fans)].kiln_id,
            started_at=ground.now - DAY * n / 10 - 2 * HOUR,
            started_by=ground.user,
            completed_at=ground.now - DAY * n / 10 - HOUR,
        )
        for n in range(over)
    )
    checks = write(
        FunctionCheck(number=f"FD-{n}", kiln_id=fan.kiln_id, started_at=ground.now - HOUR, started_by=ground.user)
        for n, fan in enumerate(fans)
    )
    sittings = write(
        Sitting(check_up=check, kiln_state="open_empty", started_at=ground.now - HOUR, ended_at=ground.now)
        for check in checks
    )
    more = write(
        CheckPoint(code=f"point-{n}", kind=ground.fan, end_view_no=5, what="blades", seen_in="open_empty")
        for n in range(points)
    )
    items = write(
        CheckItem(check_up=check, point=point, component=fan)
        for check, fan in zip(checks, fans, strict=True)
        for point in more
    )
    write(
        Finding(
            key=UUID(int=n + 1),
            item=item,
            sitting=sittings[n // points],
            result=("sound", "worn")[n % 4 // 2],
            at=ground.now,
            by=ground.user,
        )
        for n, item in enumerate(items)
        if n % 2 == 0
    )


def fill_doors(ground: Ground, count: int) -> None:
    """Write escape doors with two proof tests each; three were never tested, some are overdue."""
    today = ground.now.date()
    doors = write(
        Component(kiln=ground.kilns[n % len(ground.kilns)], kind=ground.door, tag=f"door-{n}", name=f"escape door {n}")
        for n in range(count)
    )
    write(
        ProofTest(
            key=UUID(int=2 * n + k + 1),
            component=door,
            tested_at=ground.now - DAY * (100 * k + n % 50),
            tested_by=ground.person,
            outcome="passed",
            seal_no=f"S{n}",
            next_due_on=today + DAY * (90 - n % 100),
        )
        for n, door in enumerate(doors)
        for k in (1, 0)
        if n >= 3
    )


def fill_standing(ground: Ground, count: int) -> None:
    """Write recurring tasks with a date missed each."""
    today = ground.now.date()
    tasks = write(
        StandingTask(
            code=f"task-{n}",
            sheet=ground.sheet,
            kiln_id=ground.fans[n % len(ground.fans)].kiln_id,
            component=ground.fans[n % len(ground.fans)],
            anchor_on=today - 400 * DAY,
            every=1 + n % 6,
            every_unit=("day", "week", "month")[n % 3],
            next_due_on=today + DAY * (n % 80 - 8),
        )
        for n in range(count)
    )
    write(MissedOccurrence(standing_task=task, due_on=today - 30 * DAY, recorded_at=ground.now) for task in tasks)


def fill_watches(ground: Ground, count: int) -> list[Watch]:
    """Write watches, on the kilns in turn, each with two firings; one in five goes on."""
    watches = write(
        Watch(
            kiln=ground.kilns[n % len(ground.kilns)],
            code=f"watch-{n}",
            name=f"Fan {n} below its mates",
            signal="fan_share:1",
            rule="limit",
            parameters={"side": "below", "limit": 80, "clear": 90, "hold_minutes": 30},
            severity="notice",
            component_kind=ground.fan,
            failure_modes=[ground.mode.code],
            sentence="It draws less.",
            is_on=n % 3 != 0,
        )
        for n in range(count)
    )
    for n, watch in enumerate(watches[:FEW_KILNS]):
        fill_firings(ground, watch, 2, going_on=n % 5 == 0)
    return watches


def fill_firings(ground: Ground, watch: Watch, count: int, *, going_on: bool = False) -> None:
    """Write what a watch raised, an hour each, a few hours apart; the first may go on."""
    write(
        Firing(
            watch=watch,
            begin_at=ground.now - 5 * HOUR * (n + 1),
            end_at=None if going_on and n == 0 else ground.now - 5 * HOUR * n - 4 * HOUR,
            noticed_at=ground.now - 5 * HOUR * n,
            worst_value=70,
            sentence=typed("Fan 1 draws 70 %."),
            is_notice=True,
            verdict=("", "right", "wrong")[n % 3],
        )
        for n in range(count)
    )


def fill_readings(ground: Ground, kiln: Kiln, count: int) -> None:
    """Spread readings of a kiln over the four days up to now, on four channels in turn."""
    places = (("air_temperature", "left"), ("air_temperature", "right"), ("wet_bulb", "left"), ("fan_current", "1"))
    every_s = 4 * 86_400 // count
    channels = write(Channel(kiln=kiln, quantity=quantity, place=place, every_s=every_s) for quantity, place in places)
    last_s = int(ground.now.timestamp())
    write(Reading(channel=channels[n % 4], at_s=last_s - every_s * n, value=50 + n % 7) for n in range(count))


def fill_sources(ground: Ground, count: int) -> list[ReadingSource]:
    """Write sources of files, each with a name and its last file."""
    sources = write(ReadingSource(code=f"s{n}", name=f"Logger {n}", way="files") for n in range(count))
    channel = Channel.objects.create(kiln=ground.kilns[0], quantity="emc")
    write(ChannelName(source=source, name="EMC", channel=channel) for source in sources)
    for source in sources[:1]:
        fill_intakes(ground, source, FEW_KILNS)
    return sources


def fill_intakes(ground: Ground, source: ReadingSource, count: int) -> None:
    """Write files that came, every fifth of them refused."""
    write(
        FileIntake(
            source=source,
            file_name=f"kiln-{n}.csv",
            digest=f"{n:064d}",
            at=ground.now - n * HOUR,
            by=ground.user,
            is_taken_in=n % 5 != 0,
            read=1440,
            new=1440,
            first_at=ground.now - (n + 1) * HOUR,
            last_at=ground.now - n * HOUR,
            faults=typed("Line 3: “x” is no number."),
        )
        for n in range(count)
    )


def fill_plans(ground: Ground, count: int) -> None:
    """Write plans that were worked out, decided about or failed, with a problem and a plan."""
    states = ("worked_out", "accepted", "set_aside", "failed")
    large = {"jobs": [{"id": f"WO-{n}", "start_min": n, "crew": [["7", "mechanical"]]} for n in range(10)]}

    def plan(n: int, state: str) -> Plan:
        at = ground.now - HOUR * n
        is_over = state != "failed"
        return Plan(
            name=f"plan {n}",
            state=state,
            wanted_at=at,
            wanted_by=ground.user,
            base_at=at,
            problem=large,
            plan=large,
            cost_cents=2_000_000 - n if is_over else None,
            bound_cents=1_900_000 - n if is_over else None,
            due_date_cents=4_000_000,
            as_it_stood_cents=3_000_000,
            ended_at=at + HOUR,
            decided_at=at + HOUR if state in ("accepted", "set_aside") else None,
            decided_by=ground.user if state in ("accepted", "set_aside") else None,
        )

    write(plan(n, states[n % 4]) for n in range(count))


def fill_jobs(ground: Ground, count: int) -> None:
    """Write background work that is finished, failed, waiting or under way, with its attempts."""
    states = ("finished", "finished", "failed", "waiting")

    def job(n: int, state: str) -> Job:
        at = ground.now - HOUR * n
        is_over = state in ("finished", "failed")
        return Job(
            key=f"job {n}",
            what="the day's work",
            state=state,
            wanted_at=at,
            wanted_by=ground.user,
            not_before_at=at,
            started_at=at if is_over else None,
            finished_at=at + HOUR / 60 if is_over else None,
        )

    jobs = write(job(n, states[n % 4]) for n in range(count))
    write(
        JobAttempt(
            job=one,
            started_at=one.wanted_at,
            ended_at=one.finished_at,
            outcome="done" if one.state == "finished" else "failed",
            worker="mill.example:1:1",
        )
        for one in jobs
        if one.finished_at
    )


def fill_board(ground: Ground, kilns: int, jobs: int, people: int = 20) -> None:
    """Write a mill whose board is full: charges for three months, jobs of every kind, most with a place that holds."""
    from maintenance.placing.frame import Frame
    from maintenance.placing.inserting import due_date_plan
    from maintenance.plans.desk import load_desk
    from maintenance.plans.drawing import draw_problem, places

    all_kilns, fans = with_kilns(ground, kilns)
    _fill_two_shifts(ground, people)
    fill_charges(ground, all_kilns, 22, ahead=18)
    orders = fill_orders(ground, fans, jobs)
    skill = Skill.objects.get(code="mechanical")
    for n, order in enumerate(orders):
        order.needs_state = ("running", "empty", "still", "any", "empty", "running")[(n + n // kilns) % 6]
        order.title = ("Grease the fans", "Exchange the wick", "Test the escape door", "Seal the joints")[
            (n + n // kilns) % 4
        ]
        order.is_safety, order.safety_at = False, None
    WorkOrder.objects.bulk_update(orders, ["needs_state", "title", "is_safety", "safety_at"], batch_size=500)
    write(WorkSkill(work_order=order, skill=skill) for order in orders)
    drawn = draw_problem(load_desk(ground.now))
    by_number = {order.number: order for order in orders}
    found = places(drawn, due_date_plan(Frame(drawn.problem)).to_plan(0, 0))
    write(
        Placement(
            work_order=by_number[ref],
            start_at=place.start_at,
            end_at=place.end_at,
            after_charge_id=place.after_charge_id,
            during_charge_id=place.during_charge_id,
        )
        for ref, place in found.items()
    )
    write(
        Assignment(work_order=by_number[ref], person_id=one) for ref, place in found.items() for one in place.person_ids
    )
    WorkOrder.objects.filter(number__in=found).update(state="placed")


def _fill_two_shifts(ground: Ground, count: int) -> None:
    """Write people on two shifts, every second of whom may lock out."""
    people = fill_crew(ground, count)
    Absence.objects.all().delete()
    Qualification.objects.update(valid_until=None)
    lock_out = Skill.objects.create(code="lock-out", name="lock-out")
    write(Qualification(person=one, skill=lock_out) for one in people[::2])
    late = Shift.objects.create(
        code="late", name="late", weekdays="MO,TU,WE,TH,FR", start_time="14:00", end_time="22:00"
    )
    ShiftDuty.objects.filter(person__in=people[: count // 2]).update(shift=late)
