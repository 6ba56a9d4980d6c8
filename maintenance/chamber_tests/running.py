"""Evaluate a test that a chamber ran on itself from the readings of its hours, and keep the figure or the refusal."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.chamber_tests.calculations.figures import Fans, Figure, Refusal
from maintenance.chamber_tests.calculations.heat_loss import heat_loss_by_cooling, heat_loss_by_power
from maintenance.chamber_tests.calculations.tightness import tightness
from maintenance.models import ChamberTest, WorkOrder
from plant import clock
from plant.access import require
from plant.basics.periods import to_epoch_s
from plant.models import Change, Channel, Kiln, User
from plant.readings.calculations.climate_frame import Frame
from plant.readings.spans import load_frame

STEP_S: Final = 60
SHORTEST, LONGEST = timedelta(hours=1), timedelta(days=5)
POWER, COOLING = "power", "cooling"
SHEETS: Final = ("chamber-tightness-test", "chamber-heat-loss-test")
# What the evaluation looks at; a kiln may have many more channels.
LOOKED_AT: Final = frozenset(
    {
        Channel.Quantity.AIR_TEMPERATURE,
        Channel.Quantity.WET_BULB,
        Channel.Quantity.RELATIVE_HUMIDITY,
        Channel.Quantity.WOOD_MOISTURE,
        Channel.Quantity.OUTSIDE_TEMPERATURE,
        Channel.Quantity.OUTSIDE_HUMIDITY,
        Channel.Quantity.HEATING_VALVE,
        Channel.Quantity.HEAT_POWER,
        Channel.Quantity.SPRAY_VALVE,
        Channel.Quantity.FLAP_POSITION,
        Channel.Quantity.FAN_DIRECTION,
        Channel.Quantity.DOOR_OPEN,
    }
)


@dataclass(frozen=True)
class TestHours:
    """Which test it was, when, and what is known of the chamber."""

    __test__ = False

    key: UUID
    kind: str
    fans: str
    begin_at: datetime
    end_at: datetime
    method: str = POWER
    volume_m3: float | None = None
    capacity_mj_k: float | None = None
    capacity_within_pct: float | None = None
    work_order: WorkOrder | None = None
    note: str = ""


@transaction.atomic
def evaluate_chamber_test(kiln: Kiln, hours: TestHours, *, by: User | None) -> ChamberTest:
    """Evaluate a test and keep what came of it. Sent twice, it gives the same record.

    Raises
    ------
    ValidationError
        If the hours cannot be those of a test, or cooling is to be evaluated without the heat capacity.
    """
    require(by, "test chambers")
    # One after the other, so that the same form sent twice at once is one test.
    kiln = Kiln.objects.select_for_update().select_related("mill").get(pk=kiln.pk)
    known: ChamberTest | None = ChamberTest.objects.filter(key=hours.key).first()
    if known:
        return known
    _refuse_hours(hours)
    keys = [one.key for one in Channel.objects.filter(kiln=kiln, quantity__in=LOOKED_AT)]
    frame = load_frame(kiln, to_epoch_s(hours.begin_at), to_epoch_s(hours.end_at), STEP_S, keys=keys)
    found = _evaluated(frame, hours)
    test: ChamberTest = ChamberTest.objects.create(
        key=hours.key,
        kiln=kiln,
        kind=hours.kind,
        fans=hours.fans,
        begin_at=hours.begin_at,
        end_at=hours.end_at,
        work_order=hours.work_order,
        note=hours.note,
        at=clock.now(),
        by=by,
        **_outcome(found, hours),
    )
    Change.record(test, "tested", by=by, after={"value": test.value, "refused_why": test.refused_why})
    return test


def _refuse_hours(hours: TestHours) -> None:
    if not SHORTEST <= hours.end_at - hours.begin_at <= LONGEST:
        raise ValidationError({"end_at": _("A test takes at least an hour and at most five days: check both times.")})
    if hours.end_at > clock.now():
        raise ValidationError({"end_at": _("The test is not over yet: its end lies ahead.")})
    needs_capacity = hours.kind == ChamberTest.Kind.HEAT_LOSS and hours.method == COOLING
    if needs_capacity and not (hours.capacity_mj_k and hours.capacity_within_pct):
        raise ValidationError(
            {
                "capacity_mj_k": _(
                    "Cooling alone tells only how fast it goes. For W/K enter the heat capacity and how sure it is."
                )
            }
        )


def _evaluated(frame: Frame, hours: TestHours) -> Figure | Refusal:
    fans = Fans(hours.fans)
    if hours.kind == ChamberTest.Kind.TIGHTNESS:
        return tightness(frame, fans)
    if hours.method == COOLING and hours.capacity_mj_k and hours.capacity_within_pct:
        # “Within so many per cent” is taken as two standard deviations.
        return heat_loss_by_cooling(frame, hours.capacity_mj_k, hours.capacity_within_pct / 200, fans)
    return heat_loss_by_power(frame, fans)


def _outcome(found: Figure | Refusal, hours: TestHours) -> dict[str, object]:
    asked: dict[str, object] = {"volume_m3": hours.volume_m3}
    if hours.kind == ChamberTest.Kind.HEAT_LOSS:
        asked["method"] = hours.method
    if isinstance(found, Refusal):
        facts = _rounded(found.facts)
        return {"refused_why": str(found.why), "details": {**asked, "why": str(found.why), "facts": facts}}
    return {
        "value": found.value,
        "low": found.low,
        "high": found.high,
        "details": {
            **asked,
            **_rounded(found.details),
            "used_from_s": int(found.used_from_s),
            "used_until_s": int(found.used_until_s),
            "unchecked": list(found.unchecked),
        },
    }


def _rounded(numbers: Mapping[str, float]) -> dict[str, float]:
    return {name: round(float(value), 6) for name, value in numbers.items()}
