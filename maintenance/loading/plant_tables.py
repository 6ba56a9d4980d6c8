"""The files of the plant: mill, kilns, components, meters, charges, downtime, fittings."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import models

from maintenance.loading.base import KILN, Load, Row, Span, Table, refuse_other_kind
from maintenance.loading.columns import (
    WEEKDAYS,
    Choice,
    Code,
    Column,
    Customs,
    Day,
    Find,
    Flag,
    Moment,
    Number,
    Ref,
    Text,
    Values,
    Whole,
    read_time,
    split_list,
)
from maintenance.loading.faults import CellFault
from plant.basics.yard_hours import YardHours
from plant.models import Component, Fitting, Kiln, MeterReading, Mill
from plant.models.mill import PLAN_PRICES
from plant.validators import validate_time_zone


class ZoneColumn(Text):
    """A time zone."""

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> str:
        """Refuse a zone that nobody knows."""
        try:
            validate_time_zone(text)
        except ValidationError:
            raise CellFault("this is no time zone", "Write an area and a city, for example Europe/Stockholm.") from None
        return text


class DateOrder(models.TextChoices):
    """How the mill writes days with slashes."""

    DMY = "dmy", "day month year"
    MDY = "mdy", "month day year"


@dataclass(frozen=True)
class YardColumn(Column):
    """The weekdays on which the yard loads, with their hours; a day that is not named has none."""

    default: Any = ()
    form: ClassVar[str] = "weekdays with their hours"
    day: ClassVar[re.Pattern[str]] = re.compile(r"([A-Z]{2}) *(\d{1,2}:\d{2}) *[-–] *(\d{1,2}:\d{2})")

    def parse(self, text: str, customs: Customs, values: Values, find: Find) -> Any:
        """Return what the mill keeps: for each weekday its hours or None."""
        days: dict[str, list[str]] = {}
        for item in split_list(text):
            match = self.day.fullmatch(item.upper())
            if not match or match[1] not in WEEKDAYS or match[1] in days:
                raise CellFault(f"“{item}” is no weekday with its hours, or comes twice", f"Write {self.example}.")
            days[match[1]] = [f"{read_time(clock):%H:%M}" for clock in match.groups()[1:]]
        week = [days.get(day) for day in WEEKDAYS]
        try:
            YardHours.from_json(week, customs.zone)
        except ValueError as refusal:
            raise CellFault(str(refusal), "Correct the hours.") from None
        return week

    def told(self, week: Any) -> str:
        """Return the hours as they stand in a cell."""
        named = zip(WEEKDAYS, week or (), strict=False)
        return "; ".join(f"{day} {hours[0]}-{hours[1]}" for day, hours in named if hours)


def _limits(price: str) -> dict[str, Any]:
    least, most = PLAN_PRICES[price]
    return {"least": str(least), "most": str(most)}


class MillTable(Table):
    """The mill: one row."""

    name = "mill"
    meaning = "The mill itself: one row."
    model = Mill
    act = "edit mill"
    key = ()
    columns = (
        Text("name", "name of the mill", "Example Sawmill", is_required=True, largest=120),
        ZoneColumn("time_zone", "time zone of all local times in these files", "Europe/Stockholm", is_required=True),
        Text("currency", "three letters", "EUR", default="EUR", largest=3),
        Choice(
            "temperature_unit",
            "degC or degF",
            "degC",
            default="degC",
            options=Mill.TemperatureUnit,
        ),
        Choice("volume_unit", "m3 or board_feet", "m3", default="m3", options=Mill.VolumeUnit),
        Whole("horizon_days", "how far ahead work is raised and placed", "56", default=56, least="1", most="730"),
        Whole("planned_notice_days", "notice after which a stop counts as planned", "28", default=28),
        Flag(
            "charges_end_by_programme",
            "whether openings and plans take a charge to be out when the programme says so, though nobody told it",
            "no",
            default=False,
        ),
        Flag(
            "tells_by_readings",
            "whether what readings surely say of a charge is put on record at once; nobody goes in by it",
            "no",
            default=False,
        ),
        Number("entry_limit_c", "nobody enters a chamber that is warmer, °C", "35", default=35),
        Number("drying_margin_per_m3", "what a cubic metre not dried costs", "45", default=45, decimals=2, least="0"),
        Number(
            "energy_price_per_kwh", "what a kWh of heat costs", "0.08", default=Decimal("0.08"), decimals=4, least="0"
        ),
        Number(
            "height_m", "height above the sea, m: it sets the air pressure", "120", default=0, least="-430", most="5000"
        ),
        Number("labour_rate_per_h", "what an hour of work costs", "48", default=48, decimals=2, least="0"),
        Number(
            "overtime_factor",
            "so many times the labour rate a plan counts for an hour of overtime",
            "1.5",
            default=Decimal("1.5"),
            decimals=2,
            **_limits("overtime_factor"),
        ),
        Number(
            "price_per_interruption",
            "what a plan counts for a charge that it interrupts, besides lock-out and lost drying",
            "600",
            default=600,
            decimals=2,
            **_limits("price_per_interruption"),
        ),
        Number(
            "price_per_move",
            "what a plan counts for a job that it gives another time or other people",
            "15",
            default=15,
            decimals=2,
            **_limits("price_per_move"),
        ),
        Number(
            "price_per_job_left_out",
            "what a plan counts for a job that it gives no place, besides its waiting",
            "200",
            default=200,
            decimals=2,
            **_limits("price_per_job_left_out"),
        ),
        Number("weekly_crew_h", "crew hours a week for upkeep", "80", default=80, least="0"),
        YardColumn("yard_hours", "hours in which the yard loads; empty: at any hour", "MO 06:00-14:30; TU 06:00-14:30"),
        Choice("date_order", "dmy or mdy: how 3/4/2026 is meant in these files", "dmy", default="", options=DateOrder),
        Text("decimal_mark", "“,” or “.”: how 1,234 is meant in these files", ".", largest=1),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Take the customs that all other files follow."""
        if row.values["decimal_mark"] not in ("", ",", "."):
            raise CellFault("this is no decimal mark", "Write a comma or a point, or leave it empty.", "decimal_mark")

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Keep the yard's hours as a list."""
        return super().fields(row, load) | {"yard_hours": list(row.values["yard_hours"])}

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Keep one mill to a database."""
        for row in rows[1:]:
            load.fault(self, row, "name", "a second mill", "One database holds one mill: keep one row.")
        return rows[:1]

    def existing(self, rows: list[Row], load: Load) -> dict[tuple[Any, ...], Any]:
        """Return the mill."""
        mill = Mill.objects.first()
        return {(): mill} if mill else {}

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Let the other files follow the mill's customs."""
        for row in rows:
            values = row.values
            load.mill = row.obj
            load.customs = Customs(ZoneInfo(row.obj.time_zone), values["date_order"], values["decimal_mark"])
        return ()


class KilnTable(Table):
    """Kilns."""

    name = "kilns"
    meaning = "One row for each kiln."
    model = Kiln
    act = "edit kilns"
    key = ("tag",)
    kind = "kiln"
    columns = (
        Code("tag", "short name; other files refer to it", "K1", is_required=True),
        Text("name", "long name", "North kiln", largest=80),
        Number("usable_m3", "usable volume in m³", "86", is_required=True, above="0"),
        Choice("heating_medium", "heated by", "hot_water", is_required=True, options=Kiln.HeatingMedium),
        Choice("humidifying", "humidified by", "water_spray", is_required=True, options=Kiln.Humidifying),
        Choice("climate_sensing", "climate sensed by", "psychrometer", is_required=True, options=Kiln.ClimateSensing),
        Flag("is_reversing", "do the fans reverse?", "yes", default=True),
        Flag("is_inner_skin_visible", "can the inner skin be seen?", "yes", default=True),
        Day("built_on", "when it was built", "2014-05-20"),
        Whole("lock_out_minutes", "minutes to lock out and cool", "60", default=60),
        Whole("restore_minutes", "minutes to restore", "30", default=30),
        Whole("max_people_inside", "most people inside", "4", default=4, least="1"),
        Flag("is_active", "in use?", "yes", default=True),
    )

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Add the mill."""
        return {"mill": load.mill, **super().fields(row, load)}


class ComponentTable(Table):
    """Components."""

    name = "components"
    meaning = "One row for each position in a kiln that something sits in. Every kiln in use needs at least one."
    model = Component
    act = "edit kilns"
    key = ("kiln", "tag")
    kind = "component"
    columns = (
        KILN,
        Code("tag", "short name within the kiln", "escape-door-1", is_required=True, largest=60),
        Ref("kind", "code of the kind in the catalogue", "escape-door", is_required=True, to="component_kind"),
        Text("name", "what people call it", "Escape door north", is_required=True, largest=120),
        Choice("side", "left, right or both; empty where it has no side", "left", default="", options=Component.Side),
        Flag("is_active", "in use?", "yes", default=True),
    )


class MeterReadingTable(Table):
    """Readings of running-hours meters."""

    name = "meter_readings"
    meaning = "Readings of the running-hours meters. What was read is only added to."
    model = MeterReading
    act = "edit kilns"
    key = ("kiln", "read_at", "is_new_meter")
    is_record = True
    columns = (
        KILN,
        Moment("read_at", "when it was read", "2026-11-01 06:00", is_required=True),
        Number("running_h", "hours it showed", "12450", is_required=True, least="0"),
        Flag("is_new_meter", "first reading of a new meter?", "no", default=False),
    )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse a meter that runs backwards."""
        last: dict[int, tuple[Any, Any]] = {}
        kept = MeterReading.objects.order_by("read_at").values_list("kiln_id", "read_at", "running_h", "is_new_meter")
        entries: list[tuple[Any, int, Any, bool, Row | None]] = [(at, kiln, h, new, None) for kiln, at, h, new in kept]
        known = {(at, kiln) for at, kiln, *_ in entries}
        for row in rows:
            v = row.values
            if (v["read_at"], v["kiln"].pk) not in known:
                entries.append((v["read_at"], v["kiln"].pk, v["running_h"], v["is_new_meter"], row))
        sound = []
        for at, kiln_id, hours, is_new, found in sorted(entries, key=lambda entry: (entry[0], entry[3])):
            before = last.get(kiln_id)
            if found and before and hours < before[1] and not is_new:
                load.fault(
                    self,
                    found,
                    "running_h",
                    f"the meter showed {before[1]:f} h before",
                    "Correct the reading, or say is_new_meter = yes if the meter was exchanged.",
                )
                continue
            last[kiln_id] = (at, hours)
        faulty = {fault.row for fault in load.report.faults if fault.file == load.sheets[self.name].file}
        sound = [row for row in rows if row.number not in faulty]
        return sound


class FittingTable(Table):
    """What sat where."""

    name = "fittings"
    meaning = "What sat in a component's position from when to when, and why it came out."
    model = Fitting
    act = "edit kilns"
    key = ("component", "fitted_at")
    spans = (Span("fitted_at", "removed_at", "it came out before it was fitted", may_be_empty=True),)
    columns = (
        KILN,
        Ref("component", "tag of the component", "escape-door-1", is_required=True, to="component"),
        Text("part_code", "code of the part", "escape-latch", largest=40),
        Moment("fitted_at", "when it was fitted", "2024-03-02 10:00", is_required=True),
        Moment("removed_at", "when it came out; empty: it sits there now", ""),
        Choice("removal", "failed, worn, planned or other", "", default="", options=Fitting.Removal),
        Ref("failure_mode", "how it failed (catalogue)", "", to="failure_mode"),
        Text("note", "note", ""),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Ask why something came out, and refuse a failure mode of another kind of component."""
        v = row.values
        if v["removed_at"] and not v["removal"]:
            raise CellFault("the reason is missing", "Write failed, worn, planned or other.", "removal")
        refuse_other_kind(v)

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse two things in one position at a time."""
        in_file = {self.key_of(row.values) for row in rows}
        lives: dict[int, list[tuple[Any, Any, Row | None]]] = defaultdict(list)
        for kept in Fitting.objects.filter(component__in={row.values["component"].pk for row in rows}):
            if (kept.component_id, kept.fitted_at) not in in_file:
                lives[kept.component_id].append((kept.fitted_at, kept.removed_at, None))
        for row in rows:
            v = row.values
            lives[v["component"].pk].append((v["fitted_at"], v["removed_at"], row))
        doubled: set[int] = set()
        for found in lives.values():
            ordered = sorted(found, key=lambda life: life[0])
            for before, after in pairwise(ordered):
                clash = after[2] or before[2]
                if clash and (before[1] is None or before[1] > after[0]):
                    load.fault(
                        self,
                        clash,
                        "fitted_at",
                        "something else sat there at that time",
                        "Give the earlier one a removed_at that is not after this fitted_at.",
                    )
                    doubled.add(clash.number)
        return [row for row in rows if row.number not in doubled]

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Leave a removal that the program knows alone where the file gives none."""
        fields = super().fields(row, load)
        if fields["removed_at"] is None:
            for name in ("removed_at", "removal", "failure_mode"):
                del fields[name]
        return fields
