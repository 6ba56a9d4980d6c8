"""The product's catalogue: the same files, columns and refusals as a mill's own."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, ClassVar

from django.db import models

from inventory.models import PartKind
from maintenance.loading.base import BATCH, Load, Row, Table
from maintenance.loading.columns import (
    Choice,
    Choices,
    Code,
    Column,
    Flag,
    Number,
    Ref,
    Refs,
    Text,
    Whole,
    split_list,
)
from maintenance.loading.faults import CellFault, suggest
from maintenance.models import (
    Caution,
    CheckPoint,
    StandingDefault,
    StandingTask,
    TaskPart,
    TaskSheet,
    TaskSkill,
    TaskStep,
)
from maintenance.models.catalogue import NeedsState
from maintenance.models.versions import OWN
from plant.models import ComponentKind, FailureMode, Skill

# What can hurt somebody who has not locked it out.
ENERGIES = ("fans", "heat", "spray", "flaps", "air", "electricity", "fuel", "cars")
SOURCE: tuple[Column, ...] = (
    Text("source", "where it comes from", largest=300),
    Text("source_status", "how sure", largest=120),
)


class CatalogueUnit(models.TextChoices):
    """What the catalogue's intervals are counted in."""

    DAY = "day", "days"
    WEEK = "week", "weeks"
    MONTH = "month", "months"
    RUNNING_HOUR = "running_hour", "running hours"
    CHARGE = "charge", "charges"


class IntervalColumn(Choice):
    """Whether an interval is published."""

    def words(self) -> Mapping[str, str]:
        """Understand the catalogue's own word too."""
        return {**super().words(), "mill's choice": CheckPoint.IntervalIs.OWN_CHOICE.value}


class CatalogueTable(Table):
    """A file of the catalogue."""

    keeps_history = False

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Add the kind of component where it is simply the row's kind."""
        kind = row.values.get("component_kind")
        has_kind = any(found.name == "kind" for found in self.model._meta.concrete_fields)
        return super().fields(row, load) | ({"kind": kind} if has_kind else {})


class ComponentKindTable(CatalogueTable):
    """Kinds of components."""

    name = "component_kinds"
    meaning = "Kinds of components."
    model = ComponentKind
    key = ("code",)
    kind = "component_kind"
    columns = (
        Code("code", "code", is_required=True, largest=60),
        Text("name", "name", is_required=True, largest=120),
        Choice("group", "group", is_required=True, options=ComponentKind.Group),
        Whole("end_view_no", "number in the end view", is_required=True, least="1", most="12"),
        Text("description", "description", largest=2000),
        *SOURCE,
    )


class CautionTable(CatalogueTable):
    """Cautions."""

    name = "cautions"
    meaning = "Hazards and what must be so before the start."
    model = Caution
    key = ("code",)
    kind = "caution"
    columns = (
        Code("code", "code", is_required=True, largest=60),
        Text("title", "title", is_required=True, largest=120),
        Text("text", "hazard", is_required=True, largest=4000),
        Choices("states", "states of the kiln in which it holds", is_required=True, options=NeedsState),
        Flag("is_inside", "holds inside the chamber alone"),
        Text("energies", f"to be locked out for it, of {', '.join(ENERGIES)}; semicolons between"),
        Text("before_start", "what must be so with the kiln off", largest=4000),
        Text("beside_running", "what must be so beside the running kiln", largest=4000),
        *SOURCE,
    )

    def prepare(self, row: Row, load: Load) -> None:
        """See that it says something to be so in each state in which it holds, and in no other."""
        v = row.values
        states = set(v["states"])
        is_running, is_off = NeedsState.RUNNING in states, bool(states & {NeedsState.STILL, NeedsState.EMPTY})
        if NeedsState.ANY in states:
            raise CellFault("“any” is no state", "Write the states: running, still, empty.", "states")
        if unknown := set(split_list(v["energies"])) - set(ENERGIES):
            raise CellFault(f"{', '.join(sorted(unknown))}: unknown", f"Of {', '.join(ENERGIES)}.", "energies")
        if is_running and v["is_inside"]:
            raise CellFault("nobody is inside a running kiln", "Leave running out, or write no.", "is_inside")
        for name, holds in (("beside_running", is_running), ("before_start", is_off)):
            if bool(v[name]) != holds:
                raise CellFault("the words and the states do not fit", "Say what must be so in each state.", name)

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Keep the states as words."""
        return super().fields(row, load) | {"states": "; ".join(row.values["states"])}


class SkillTable(CatalogueTable):
    """Skills."""

    name = "skills"
    meaning = "Skills."
    model = Skill
    key = ("code",)
    kind = "skill"
    columns = (
        Code("code", "code", is_required=True, largest=40),
        Text("name", "name", is_required=True, largest=80),
        Flag("is_licensed_trade", "licensed trade?"),
        *SOURCE,
    )


class FailureModeTable(CatalogueTable):
    """Failure modes."""

    name = "failure_modes"
    meaning = "Manners in which components fail."
    model = FailureMode
    key = ("code",)
    kind = "failure_mode"
    columns = (
        Code("code", "code", is_required=True, largest=80),
        Ref("component_kind", "kind of component", is_required=True, to="component_kind"),
        Text("name", "name", is_required=True, largest=160),
        Text("mechanism", "mechanism", largest=120),
        Text("sign", "sign", largest=2000),
        Text("consequence", "consequence", largest=2000),
        Text("likelihood_hint", "how often, for the reader of the file"),
        *SOURCE,
    )


class PartKindTable(CatalogueTable):
    """Kinds of parts."""

    name = "part_kinds"
    meaning = "Kinds of parts."
    model = PartKind
    key = ("code",)
    kind = "part_kind"
    columns = (
        Code("code", "code", is_required=True, largest=60),
        Text("name", "name", is_required=True, largest=120),
        Text("unit", "unit", is_required=True, largest=12),
        Ref("component_kind", "kind of component", to="component_kind"),
        Whole("shelf_life_days", "shelf life in days"),
        Flag("is_consumable", "used up?"),
        *SOURCE,
    )


class KeptTable(CatalogueTable):
    """A file of what a mill may write itself as well: it never touches the mill's own."""

    def prepare(self, row: Row, load: Load) -> None:
        """Refuse the codes of the mill's own."""
        if row.values["code"].startswith(OWN):
            raise CellFault(f"codes that begin with {OWN} are the mill's own", "Write another code.", "code")


class OfSheetTable(CatalogueTable):
    """Rows that belong to task sheets: a sheet that the file tells of has those of the file and no others."""

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Take away what the file has no more."""
        touched = set(super().after(rows, load))
        last = {row.values["sheet"].pk: row.number for row in rows}
        kept = {row.obj.pk for row in rows}
        gone = [row for row in self.model._default_manager.filter(sheet__in=last) if row.pk not in kept]
        for row in gone:
            touched.add(last[row.sheet_id])  # type: ignore[attr-defined]
            row.delete()
        return touched


class CheckPointTable(KeptTable):
    """Check points."""

    name = "check_points"
    meaning = "Points of the function check."
    model = CheckPoint
    key = ("code",)
    kind = "check_point"
    links = {"cautions": "caution_id"}
    columns = (
        Code("code", "code", is_required=True, largest=60),
        Ref("component_kind", "kind of component", is_required=True, to="component_kind"),
        Whole("end_view_no", "number in the end view", is_required=True, least="1", most="12"),
        Text("what", "what", is_required=True),
        Choice("seen_in", "state in which it can be seen", is_required=True, options=CheckPoint.SeenIn),
        Text("method", "how to look", is_required=True, largest=4000),
        Text("criterion", "sound when", is_required=True, largest=4000),
        Code("substitute_code", "point that stands in", default="", largest=60),
        Text("substitute_when", "substitute where"),
        Flag("blocks_entry", "does a fault block entry?"),
        Choice("per", "component or kiln", is_required=True, options=CheckPoint.Per),
        Text("interval_text", "interval"),
        Whole("interval_days", "interval in days", least="1"),
        IntervalColumn("interval_is", "published or mill's choice", is_required=True, options=CheckPoint.IntervalIs),
        Refs("cautions", "cautions", to="caution"),
        *SOURCE,
    )

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Refuse a substitute that is no point, or the point itself."""
        codes = {row.values["code"] for row in rows} | set(load.index("check_point"))
        sound = []
        for row in rows:
            substitute = row.values["substitute_code"]
            if substitute and (substitute not in codes or substitute == row.values["code"]):
                remedy = suggest(substitute, codes) + "Write the code of another point, or nothing."
                load.fault(self, row, "substitute_code", "no other check point has this code", remedy)
            else:
                sound.append(row)
        return sound

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Join points to their substitutes, once all points are there."""
        touched = set(super().after(rows, load))
        points = load.index("check_point")
        changed = []
        for row in rows:
            wanted = points.get(row.values["substitute_code"])
            point = points[row.values["code"]]
            if point.substitute_id != (wanted.pk if wanted else None):
                point.substitute = wanted
                changed.append(point)
                touched.add(row.number)
        CheckPoint.objects.bulk_update(changed, ["substitute"], batch_size=BATCH)
        return touched


class TaskSheetTable(KeptTable):
    """Task sheets."""

    name = "task_sheets"
    meaning = "How jobs are done."
    model = TaskSheet
    key = ("code",)
    kind = "sheet"
    links = {"cautions": "caution_id"}
    columns = (
        Code("code", "code", is_required=True, largest=60),
        Text("title", "title", is_required=True, largest=160),
        Ref("component_kind", "kind of component", is_required=True, to="component_kind"),
        Choice("needs_state", "state of the kiln", is_required=True, options=NeedsState),
        Number("hours", "hours", is_required=True, above="0"),
        Whole("crew", "people", is_required=True, least="1"),
        Refs("skills", "skills", to="skill"),
        Refs("cautions", "cautions", to="caution"),
        Flag("is_proof_test", "proof test?"),
        Flag("is_safety", "safety work?"),
        Text("purpose", "purpose", largest=4000),
        *SOURCE,
    )

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Write cautions and skills; a skill named twice asks for two people."""
        touched = set(super().after(rows, load))
        kept: dict[int, dict[int, int]] = defaultdict(dict)
        for needed in TaskSkill.objects.all():
            kept[needed.sheet_id][needed.skill_id] = needed.persons
        stale, new = [], []
        for row in rows:
            wanted: dict[int, int] = defaultdict(int)
            for skill in row.values["skills"]:
                wanted[skill.pk] += 1
            if "skills" in row.text and kept[row.obj.pk] != wanted:
                touched.add(row.number)
                stale.append(row.obj.pk)
                new += [TaskSkill(sheet=row.obj, skill_id=pk, persons=count) for pk, count in wanted.items()]
        TaskSkill.objects.filter(sheet__in=stale).delete()
        TaskSkill.objects.bulk_create(new, batch_size=BATCH)
        return touched


class TaskStepTable(OfSheetTable):
    """Steps of task sheets."""

    name = "task_steps"
    meaning = "Steps of task sheets."
    model = TaskStep
    key = ("sheet", "no")
    columns: ClassVar[Sequence[Column]] = (
        Ref("sheet", "task sheet", is_required=True, to="sheet"),
        Whole("no", "number", is_required=True, least="1"),
        Text("text", "step", is_required=True, largest=4000),
        Text("reading_name", "reading", largest=80),
        Text("reading_unit", "unit", largest=20),
        Number("low", "not below"),
        Number("high", "not above"),
        Flag("is_required", "must be done?", default=True),
    )


class TaskPartTable(OfSheetTable):
    """Parts of task sheets."""

    name = "task_parts"
    meaning = "What task sheets use up."
    model = TaskPart
    key = ("sheet", "part_kind")
    columns: ClassVar[Sequence[Column]] = (
        Ref("sheet", "task sheet", is_required=True, to="sheet"),
        Ref("part_kind", "kind of part", is_required=True, to="part_kind"),
        Number("quantity", "quantity", is_required=True, above="0"),
    )


class StandingDefaultTable(CatalogueTable):
    """Proposed intervals."""

    name = "standing_defaults"
    meaning = "Intervals that a mill may start from."
    model = StandingDefault
    key = ("sheet",)
    columns = (
        Ref("sheet", "task sheet", is_required=True, to="sheet"),
        Whole("every", "every so many", is_required=True, least="1"),
        Choice("every_unit", "unit", is_required=True, options=CatalogueUnit),
        Whole("window_before", "window before"),
        Whole("window_after", "window after"),
        *(
            Choice(name, name.replace("_", " "), is_required=True, options=StandingTask.Reset)
            for name in ("reset_early", "reset_inside", "reset_late")
        ),
        IntervalColumn("interval_is", "published or mill's choice", is_required=True, options=CheckPoint.IntervalIs),
        *SOURCE,
    )


CATALOGUE: tuple[type[Table], ...] = (
    ComponentKindTable,
    CautionTable,
    SkillTable,
    FailureModeTable,
    PartKindTable,
    CheckPointTable,
    TaskSheetTable,
    TaskStepTable,
    TaskPartTable,
    StandingDefaultTable,
)
