"""A small mill to place work in: one kiln with two charges and an opening between, and Oda on the day shift."""

from datetime import date, time, timedelta
from typing import Any

from maintenance.models import StandingTask, WorkOrder, WorkSkill
from plant.models import Charge, Kiln, Person, Qualification, Shift, ShiftDuty
from tests.factories import (
    MONDAY,
    ChargeFactory,
    KilnFactory,
    PersonFactory,
    SkillFactory,
    TaskSheetFactory,
    WorkOrderFactory,
)

# The first charge ends on Friday at seven at the mill, the second begins on Saturday at seven.
OPENING_FROM = MONDAY + timedelta(days=4)
OPENING_TO = MONDAY + timedelta(days=5)
BOTH = ("mechanical", "lock-out")


def programme(kiln: Kiln | None = None, charges: int = 2) -> list[Charge]:
    """Charges of four days with a day between each; the first is running since Monday at seven."""
    found = []
    for n in range(charges):
        found.append(
            ChargeFactory(
                kiln=kiln or KilnFactory(),
                basis=Charge.Basis.PLANNED if n else Charge.Basis.RUNNING,
                begin_at=MONDAY + timedelta(days=5 * n),
                days=4,
            )
        )
    return found


def out_in_time() -> None:
    """Have the first charge told to be out when it was expected to be."""
    Charge.objects.filter(basis=Charge.Basis.RUNNING).update(basis=Charge.Basis.DONE)


def on_shift(code: str = "oda", skills: tuple[str, ...] = BOTH, until: date | None = None) -> Person:
    """Somebody on the day shift (six to fourteen, Monday to Saturday) with skills, locking out among them."""
    person: Person = PersonFactory(code=code)
    shift, _ = Shift.objects.get_or_create(
        code="day",
        defaults={
            "name": "Day",
            "weekdays": "MO,TU,WE,TH,FR,SA",
            "start_time": time(6),
            "end_time": time(14),
        },
    )
    ShiftDuty.objects.create(person=person, shift=shift, from_on=MONDAY.date() - timedelta(days=90))
    for name in skills:
        Qualification.objects.create(person=person, skill=SkillFactory(code=name), valid_until=until)
    return person


def job(skills: tuple[str, ...] = ("mechanical",), **changes: Any) -> WorkOrder:
    """A job of one and a half hours in the open, empty kiln."""
    order: WorkOrder = WorkOrderFactory(**changes)
    for name in skills:
        WorkSkill.objects.create(work_order=order, skill=SkillFactory(code=name))
    return order


def standing(**changes: Any) -> StandingTask:
    """Grease the fan bearings every four weeks, next on the Monday in two weeks; any state, nobody in particular."""
    given: dict[str, Any] = {
        "code": "k1-grease",
        "sheet": TaskSheetFactory(),
        "kiln": KilnFactory(),
        "anchor_on": MONDAY.date() + timedelta(days=14),
        "every": 4,
        "every_unit": "week",
        "window_before_days": 10,
        "window_after_days": 7,
        "entered_on": MONDAY.date() - timedelta(days=90),
    }
    return StandingTask.objects.create(**{**given, **changes})
