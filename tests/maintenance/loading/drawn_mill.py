"""A mill drawn at random: the same for the same seed, with texts that spreadsheets would take for something else."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from typing import TypeVar
from uuid import UUID

from inventory.models import Bin, Lot, Part, PartKind, PurchaseOrder, StockLevel, StockMove, Supplier, SupplierTerms
from maintenance.loading.loader import load_catalogue
from maintenance.models import ChangedDate, CheckPoint, Defect, ProofTest, StandingTask, TaskSheet, Watch, WorkOrder
from maintenance.orders.raising import raise_work_order
from maintenance.sheets.content import content_of
from maintenance.sheets.keeping import change, make, withdraw
from maintenance.watches.calculations.rows import rule_from, rule_parameters
from plant.basics.sentences import typed
from plant.models import (
    Absence,
    Channel,
    Charge,
    Component,
    ComponentKind,
    Downtime,
    FailureMode,
    Fitting,
    Kiln,
    MeterReading,
    Mill,
    Person,
    Phase,
    Qualification,
    RoleHeld,
    Shift,
    ShiftDuty,
    Skill,
    User,
)

Value = TypeVar("Value")
FIRST = datetime(2026, 3, 1, 5, tzinfo=UTC)
#: What a spreadsheet takes for a formula, a number, a day or the end of a cell.
TEXTS = (
    *("=1+1", "+46 70 123", "-5", "@risk", "'quoted", "'=shielded", "0012", "3/4", "1,234", "yes", "TRUE", "1e3"),
    *("Åsa said “stop”", "a;b, c\td", 'with "quotes"', "first line\nsecond line", "https://mill.example/?a=1&b=2"),
)


class Draw(Random):
    """Draws what a mill keeps."""

    def text(self) -> str:
        """Draw a text."""
        return self.choice(TEXTS)

    def amount(self, most: int = 200, decimals: int = 3) -> Decimal:
        """Draw a number above 0."""
        return Decimal(self.randint(1, most * 10**decimals)).scaleb(-decimals)

    def at(self, after: datetime = FIRST, hours: int = 5000) -> datetime:
        """Draw an instant, some to the microsecond, some in the hour of autumn that comes twice."""
        twice = datetime(2026, 10, 25, self.choice((0, 1)), self.randint(0, 59), tzinfo=UTC)
        if self.random() < 0.1 and twice > after:
            return twice
        at = after + timedelta(minutes=self.randint(1, hours * 60))
        return at + timedelta(microseconds=self.randint(0, 10**6 - 1)) if self.random() < 0.3 else at

    def on(self) -> date:
        """Draw a day."""
        return FIRST.date() + timedelta(days=self.randint(0, 400))

    def maybe(self, value: Value) -> Value | None:
        """Draw a value or none."""
        return value if self.random() < 0.6 else None

    def key(self) -> UUID:
        """Draw a key."""
        return UUID(int=self.getrandbits(128), version=4)


def draw_mill(seed: int) -> Mill:
    """Fill an empty database."""
    draw = Draw(seed)
    assert load_catalogue().is_sound
    week = [draw.maybe([f"{draw.randint(4, 7):02d}:30", "16:00"]) for _ in range(5)]
    mill = Mill.objects.create(
        name="=Drawn & Sons",
        time_zone=draw.choice(("Europe/Stockholm", "America/Vancouver", "UTC")),
        currency="SEK",
        entry_limit_c=draw.amount(40),
        drying_margin_per_m3=draw.amount(60, 2),
        energy_price_per_kwh=draw.amount(1, 4),
        height_m=draw.amount(900),
        overtime_factor=draw.amount(9, 2),
        price_per_interruption=draw.amount(900, 2),
        price_per_move=draw.amount(90, 2),
        price_per_job_left_out=1 + draw.amount(900, 2),
        yard_hours=draw.choice(([], [["06:00", "14:30"], *week, None])),
        charges_end_by_programme=draw.random() < 0.5,
    )
    _people(draw)
    for number in range(draw.randint(2, 4)):
        _kiln(draw, mill, f"K{number + 1}")
    _stores(draw)
    _own(draw)
    _work(draw)
    return mill


def _work(draw: Draw) -> None:
    """Have work ahead: of a defect, of a recurring task, and asked for."""
    defect, task = Defect.objects.order_by("pk")[0], StandingTask.objects.order_by("code")[0]
    facts = {"due_at": draw.at(), "why": typed(draw.text())}
    for_defect = raise_work_order(
        kiln=defect.kiln,
        title=draw.text(),
        origin="finding",
        defect=defect,
        hours=draw.amount(9),
        needs_state="empty",
        **facts,
    )
    recurring = {"sheet": task.sheet, "component": task.component, "standing_task": task, "occurrence_on": draw.on()}
    raise_work_order(kiln=task.kiln, title=draw.text(), origin="standing_task", **recurring, **facts)
    fans = list(Component.objects.filter(kiln=task.kiln, kind=task.sheet.kind))
    raise_work_order(kiln=task.kiln, title=draw.text(), origin="asked_for", sheet=task.sheet, covers=fans, **facts)
    left_out = {"left_out_at": draw.at(), "left_out_why": draw.text(), "safety_at": draw.maybe(draw.at())}
    WorkOrder.objects.filter(pk=for_defect.pk).update(state="placed", **left_out)


def _own(draw: Draw) -> None:
    """Have own task sheets and check points, copied and written, one of them changed, and a date that is moved."""
    shipped = TaskSheet.objects.get(code="belt-exchange")
    copied = make(TaskSheet(), content_of(shipped), key=draw.key(), by=None, copied=shipped)
    content = content_of(copied) | {"title": draw.text(), "hours": "2.25", "every": "3", "every_unit": "week"}
    content["steps"] = [one | {"text": draw.text()} for one in content["steps"]]
    change(copied, content | {"skills": {"lock-out": 1}}, version=1, why="so", by=None)
    point = CheckPoint.objects.get(code="fans-run")
    make(CheckPoint(), content_of(point) | {"substitute": "fans-run"}, key=draw.key(), by=None, copied=point)
    gone = make(CheckPoint(), content_of(point) | {"method": draw.text()}, key=draw.key(), by=None)
    withdraw(gone, draw.text(), by=None)
    task = StandingTask.objects.order_by("code")[0]
    StandingTask.objects.filter(pk=task.pk).update(sheet=copied)
    for days in (3, 40):
        due_on = FIRST.date() + timedelta(days=days)
        ChangedDate.objects.create(
            standing_task=task,
            due_on=due_on,
            moved_to_on=draw.maybe(due_on + timedelta(days=2)),
            why=draw.text(),
            at=draw.at(),
            by=draw.maybe(User.objects.first()),
            after_done_on=draw.maybe(FIRST.date()),
        )


def _people(draw: Draw) -> None:
    shifts = [
        Shift.objects.create(
            code=code,
            name=draw.text(),
            weekdays="MO,WE",
            start_time=time(draw.randint(0, 23), 30),
            end_time=time(5, 0, 30),
        )
        for code in ("early", "late")
    ]
    for number in range(4):
        person = Person.objects.create(
            code=f"p{number}", name=draw.text(), phone=draw.choice(("", "+46 1")), is_active=draw.random() < 0.8
        )
        if number:
            user = User.objects.create(username=f"u{number}", person=person)
            RoleHeld.objects.create(user=user, role=draw.choice(("planner", "technician")))
        for skill in Skill.objects.order_by("code")[: draw.randint(0, 2)]:
            Qualification.objects.create(person=person, skill=skill, valid_until=draw.maybe(draw.on()))
        from_on = draw.on()
        for _turn in range(draw.randint(0, 3)):
            until_on = from_on + timedelta(days=draw.randint(0, 20))
            ShiftDuty.objects.create(
                person=person, shift=draw.choice(shifts), from_on=from_on, until_on=draw.maybe(until_on)
            )
            from_on = until_on + timedelta(days=1)
        start_at = draw.at()
        Absence.objects.create(person=person, start_at=start_at, end_at=draw.at(start_at), reason=draw.text())


def _kiln(draw: Draw, mill: Mill, tag: str) -> None:
    kiln = Kiln.objects.create(
        mill=mill,
        tag=tag,
        name=draw.text(),
        usable_m3=draw.amount(),
        heating_medium=draw.choice(Kiln.HeatingMedium.values),
        humidifying=draw.choice(Kiln.Humidifying.values),
        climate_sensing=draw.choice(Kiln.ClimateSensing.values),
        is_reversing=draw.random() < 0.5,
        built_on=draw.maybe(draw.on()),
        lock_out_minutes=draw.randint(0, 90),
    )
    fan, door = (
        Component.objects.create(
            kiln=kiln,
            kind=ComponentKind.objects.get(code=code),
            tag=f"{code}-1",
            name=draw.text(),
            side=draw.choice(["", *Component.Side.values]),
            is_active=code == "fan" or draw.random() < 0.7,
        )
        for code in ("fan", "escape-door")
    )
    Channel.objects.create(kiln=kiln, quantity="wet_bulb", place="left", component=draw.maybe(fan), every_s=30)
    hours = Decimal(0)
    for days in (1, 20, 90):
        hours += draw.amount(900)
        MeterReading.objects.create(kiln=kiln, read_at=FIRST + timedelta(days=days), running_h=hours)
    _charges(draw, kiln)
    Watch.objects.create(
        kiln=kiln,
        code="own-wick",
        name=draw.text(),
        signal="wet_bulb:left",
        rule="limit",
        parameters=rule_parameters(rule_from("limit", {"side": "above", "limit": 90.5, "clear": 80})),
        phases=draw.choice(([], ["drying", "conditioning"])),
        severity="notice",
        component_kind=fan.kind,
        component=draw.maybe(fan),
        failure_modes=["fan-stopped"],
        sentence=draw.text(),
        safety_days=draw.maybe(3),
        is_on=draw.random() < 0.5,
        switched_on_at=draw.maybe(draw.at()),
    )
    mode = FailureMode.objects.get(code="fan-stopped")
    start_at = draw.at()
    for _stop in range(draw.randint(1, 4)):
        end_at = draw.at(start_at, 40)
        Downtime.objects.create(
            kiln=kiln,
            component=draw.maybe(fan),
            kind=draw.choice(("unplanned", "external")),
            start_at=start_at,
            end_at=end_at,
            share_lost=draw.choice((1, Decimal("0.5"))),
            cause=draw.text(),
        )
        start_at = draw.at(end_at, 400)
    Downtime.objects.create(
        kiln=kiln,
        component=fan,
        failure_mode=mode,
        kind="planned",
        start_at=start_at,
        announced_at=draw.maybe(start_at - timedelta(days=3)),
        expected_end_at=draw.maybe(draw.at(start_at)),
        charge_end_unknown_at=draw.maybe(start_at),
    )
    Fitting.objects.create(
        component=fan, part_code="belt-a", fitted_at=FIRST, removed_at=draw.at(), removal="worn", note=draw.text()
    )
    Defect.objects.create(
        kiln=kiln,
        component=fan,
        failure_mode=draw.maybe(mode),
        found_at=draw.at(),
        found_by=draw.maybe(User.objects.first()),
        what=draw.text(),
        consequence=draw.text(),
        is_safety=draw.random() < 0.5,
    )
    ProofTest.objects.create(
        key=draw.key(),
        component=door,
        tested_at=draw.at(),
        tested_by=Person.objects.order_by("code")[0],
        outcome="passed",
        seal_no=draw.text(),
        next_due_on=draw.on(),
    )
    last_on = draw.maybe(draw.on())
    StandingTask.objects.create(
        code=f"{tag}-belt",
        sheet=TaskSheet.objects.get(code="belt-exchange"),
        kiln=kiln,
        component=fan,
        anchor_on=draw.on(),
        every=draw.randint(1, 9),
        every_unit=draw.choice(StandingTask.Unit.values),
        window_before_days=draw.randint(0, 5),
        reset_inside=draw.choice(StandingTask.Reset.values),
        last_done_on=last_on,
        last_due_on=last_on,
        last_done_running_h=draw.amount() if last_on else None,
        passed_over_on=draw.maybe(draw.on()),
        passed_over_running_h=draw.maybe(draw.amount()),
        entered_on=draw.on(),
        is_active=draw.random() < 0.7,
    )


def _charges(draw: Draw, kiln: Kiln) -> None:
    at = draw.at(hours=50)
    for number in range(draw.randint(2, 6)):
        marks = [at]
        for _phase in Phase.Kind.values:
            marks.append(draw.at(marks[-1], 30))
        shift = timedelta(minutes=draw.randint(-300, 300))
        planned = [marks[0], *sorted(mark + shift * draw.randint(0, 1) for mark in marks[1:])]
        planned[1:] = [max(mark, marks[0] + timedelta(minutes=no)) for no, mark in enumerate(planned[1:], 1)]
        charge = Charge.objects.create(
            kiln=kiln,
            number=draw.choice((f"26-{number}", f"={number}", f"00{number}")),
            species=draw.text(),
            thickness_mm=draw.randint(20, 90),
            volume_m3=draw.amount(),
            initial_mc_pct=draw.maybe(draw.amount(90, 1)),
            basis=draw.choice(("planned", "done")),
            planned_begin_at=planned[0],
            planned_end_at=planned[-1],
            begin_at=marks[0],
            end_at=marks[-1],
            end_spread_h=draw.amount(9, 1),
            promised_at=draw.maybe(draw.at()),
            late_cost_per_h=draw.maybe(draw.amount(90, 2)),
            taken_out_at=draw.maybe(FIRST) if number else None,
            key=draw.key(),
        )
        for no, kind in enumerate(Phase.Kind.values):
            Phase.objects.create(
                charge=charge,
                kind=kind,
                planned_begin_at=planned[no],
                planned_end_at=planned[no + 1],
                begin_at=marks[no],
                end_at=marks[no + 1],
            )
        at = draw.at(marks[-1], 90)


def _stores(draw: Draw) -> None:
    places = [Bin.objects.create(code=code, place=draw.text()) for code in ("A-01", "=B 2", "3/4")]
    supplier = Supplier.objects.create(code="seals", name=draw.text(), phone="+46 8")
    for number in range(3):
        part = Part.objects.create(
            code=f"part-{number}",
            name=draw.text(),
            kind=draw.maybe(PartKind.objects.get(code="fan-belt")),
            bin=draw.choice(places),
            unit="m",
        )
        part.fits.set(ComponentKind.objects.order_by("code")[: draw.randint(0, 2)])
        SupplierTerms.objects.create(
            part=part,
            supplier=supplier,
            lead_time_days=draw.amount(60, 1),
            unit_price=draw.amount(90, 2),
            is_preferred=draw.random() < 0.7,
        )
        order = PurchaseOrder.objects.create(
            number=f"PO-{number:04d}", supplier=supplier, state="sent", drawn_up_at=draw.at(), promised_on=draw.on()
        )
        line = order.lines.create(part=part, quantity=50, unit_price=draw.amount(9, 2), reason=typed(draw.text()))
        lot = Lot.objects.create(part=part, code="L1", received_on=FIRST, expires_on=draw.maybe(draw.on()))
        at, held = FIRST, Decimal(0)
        for kind in ("receipt", "issue", "issue", "count", "scrap"):
            at = draw.choice((at, draw.at(at, 100)))
            quantity = {"receipt": 50, "issue": -3, "count": draw.choice((2, -2)), "scrap": -1}[kind]
            held += quantity
            if kind == "receipt":
                line.received = Decimal(quantity)
                line.save()
            StockMove.objects.create(
                key=draw.key(),
                part=part,
                bin=part.bin,
                lot=lot,
                kind=kind,
                quantity=quantity,
                at=at,
                by=draw.maybe(User.objects.first()),
                order_line=line if kind == "receipt" else None,
                reason=draw.text(),
            )
        StockLevel.objects.create(part=part, bin=part.bin, lot=lot, on_hand=held)
