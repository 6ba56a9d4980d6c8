"""The files of upkeep: recurring tasks, past work, defects, proof tests, function checks."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any, ClassVar

from dateutil.rrule import rrulestr

from maintenance.loading.base import BATCH, KILN, Load, Row, Span, Table, raise_series, refuse_other_kind
from maintenance.loading.columns import (
    Amounts,
    Choice,
    Code,
    Day,
    Flag,
    Moment,
    Number,
    Ref,
    Text,
    Whole,
)
from maintenance.loading.faults import CellFault
from maintenance.loading.stock_tables import stable_key
from maintenance.models import (
    Defect,
    Finding,
    Labour,
    ProofTest,
    StandingDefault,
    StandingTask,
    StepRecord,
    TaskSkill,
    TaskStep,
    WorkOrder,
    WorkSkill,
    WorkStep,
)
from maintenance.models.catalogue import CheckPoint, NeedsState
from maintenance.recurring.editing import interval_of_default
from plant import clock
from plant.models import Downtime

SIGN_ANEW = "Name who accepted it, or leave both columns empty: then it waits for somebody who did not do it."

RECURRENCE = ("every", "every_unit", "rrule", "every_running_h", "every_charges")
# What is known of the last work, and of a date that was withdrawn since.
KNOWN_OF_LAST = tuple(
    f"{what}_{meter}" for what in ("last_done", "last_due", "passed_over") for meter in ("on", "running_h", "charges")
)
RESETS = ("reset_early", "reset_inside", "reset_late")
# What holds where neither the row nor the catalogue says anything.
USUAL = {
    "window_before_days": 0,
    "window_after_days": 0,
    "window_before_running_h": 0,
    "window_after_running_h": 0,
    "window_before_charges": 0,
    "window_after_charges": 0,
    "reset_early": StandingTask.Reset.COMPLETION.value,
    "reset_inside": StandingTask.Reset.ANCHORED.value,
    "reset_late": StandingTask.Reset.COMPLETION.value,
}
COMPONENT = Ref("component", "tag of the component; empty: the kiln", "escape-door-1", to="component")


class StandingTaskTable(Table):
    """Recurring tasks."""

    name = "recurring_tasks"
    former_name = "standing_tasks"
    meaning = (
        "Task sheets that recur. With all five recurrence columns empty the catalogue's proposal is taken, and so are "
        "empty windows and resets. A later date of the last work in the program is kept."
    )
    model = StandingTask
    act = "edit recurring tasks"
    key = ("code",)
    kind = "standing_task"
    columns = (
        Code("code", "code", "K1-escape-door-test", is_required=True, largest=60),
        Ref("sheet", "code of the task sheet (catalogue)", "escape-door-proof-test", is_required=True, to="sheet"),
        KILN,
        COMPONENT,
        Day("anchor_on", "day from which it is counted", "2026-01-15", is_required=True),
        Whole("every", "every so many …", "", least="1", most="10000"),
        Choice("every_unit", "… day, week or month", "", default="", options=StandingTask.Unit),
        Text("rrule", "calendar rule (RFC 5545) in place of every", "", largest=200),
        Choice(
            "month_end",
            "where a month has no such day: last_day, skip or next_first",
            "",
            default="last_day",
            options=StandingTask.MonthEnd,
        ),
        Whole("every_running_h", "every so many running hours", "", least="1"),
        Whole("every_charges", "every so many charges", "", least="1"),
        Whole("window_before_days", "days before the date on which it may be done", "", most="366"),
        Whole("window_after_days", "days after it", "", most="366"),
        Whole("window_before_running_h", "running hours before those it is due at", "", most="1000000"),
        Whole("window_after_running_h", "running hours after them", "", most="1000000"),
        Whole("window_before_charges", "charges before those it is due at", "", most="100000"),
        Whole("window_after_charges", "charges after them", "", most="100000"),
        *(
            Choice(name, f"anchored or completion: what counts when done {words}", "", options=StandingTask.Reset)
            for name, words in zip(RESETS, ("too early", "inside the window", "too late"), strict=True)
        ),
        Flag("is_safety", "safety work? empty: as the task sheet says", "", default=None),
        Number("cost_of_delay_per_day", "cost of a day's delay", "0", default=0, decimals=2, least="0"),
        Day("last_done_on", "last done", "2026-11-03"),
        Number("last_done_running_h", "running hours then", "", least="0"),
        Whole("last_done_charges", "charges unloaded until then", ""),
        Day("last_due_on", "what the last work had been due at: its day", ""),
        Number("last_due_running_h", "… running hours", "", least="0"),
        Whole("last_due_charges", "… charges", ""),
        Day("passed_over_on", "date that was withdrawn since the last work", ""),
        Number("passed_over_running_h", "running hours since the last work at which it was due", ""),
        Number("passed_over_charges", "charges since the last work at which it was due", ""),
        Day("entered_on", "when it was entered; empty: today", ""),
        Flag("is_active", "recurs?", "yes", default=True),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Take the catalogue's proposal where the row leaves something open, and refuse what contradicts itself."""
        v = row.values
        proposal: StandingDefault | None = getattr(v["sheet"], "standing_default", None)
        self._check_component(v)
        if v["sheet"].is_withdrawn and v["is_active"]:
            raise CellFault(
                "this task sheet is withdrawn: no work comes from it",
                "Name another, or write no for is_active.",
                "sheet",
            )
        if not any(v[name] for name in RECURRENCE):
            if proposal is None:
                raise CellFault("it does not recur: the catalogue proposes nothing", "Fill in every.", "every")
            v.update(interval_of_default(proposal))
        if v["every"] and not v["every_unit"]:
            raise CellFault("the unit is missing", "Write day, week or month.", "every_unit")
        if v["every_unit"] and not v["every"]:
            raise CellFault("the unit has no number", "Write how many, or empty every_unit.", "every")
        if v["every"] and v["rrule"]:
            raise CellFault("every and rrule are both given", "Keep one of the two.", "rrule")
        _check_rule(v["rrule"])
        for name, usual in USUAL.items():
            if v[name] is None:
                proposed = getattr(proposal, name.removesuffix("_days"), None)
                v[name] = usual if proposed is None else proposed
        _check_meter_windows(v)
        v["is_safety"] = v["sheet"].is_safety if v["is_safety"] is None else v["is_safety"]
        v["is_interval_published"] = _is_published(v, proposal)

    def _check_component(self, v: dict[str, Any]) -> None:
        if v["component"] and v["component"].kind_id != v["sheet"].kind_id:
            raise CellFault(
                f"the task sheet is for {v['sheet'].kind.name.lower()}",
                f"Name a component of the kind {v['sheet'].kind.code}, or leave it empty.",
                "component",
            )

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Never set back what the program knows of the last work."""
        fields = super().fields(row, load) | {"is_interval_published": row.values["is_interval_published"]}
        kept = load.index("standing_task").get(row.values["code"])
        if fields["entered_on"] is None:
            del fields["entered_on"]
            if kept is None:
                fields["entered_on"] = clock.today(row.values["kiln"].mill.zone)
        last = row.values["last_done_on"]
        if kept is not None and kept.last_done_on and (last is None or last <= kept.last_done_on):
            for name in KNOWN_OF_LAST:
                del fields[name]
        return fields


def _check_meter_windows(v: dict[str, Any]) -> None:
    for meter, what in (("running_h", "running hours"), ("charges", "charges")):
        before, after, every = v[f"window_before_{meter}"], v[f"window_after_{meter}"], v[f"every_{meter}"]
        if (before or after) and not every:
            side = f"window_{'before' if before else 'after'}_{meter}"
            raise CellFault(f"the task does not count {what}", f"Fill in every_{meter}, or empty the window.", side)
        if before and every and before >= every:
            raise CellFault(
                f"the window is as long as the interval of {every}",
                f"Write fewer {what} than from one work to the next.",
                f"window_before_{meter}",
            )


def _check_rule(rule: str) -> None:
    if not rule:
        return
    try:
        rrulestr(rule)
    except (ValueError, TypeError, KeyError):
        raise CellFault(
            "this is no calendar rule of RFC 5545", "Write one like FREQ=MONTHLY;BYDAY=1MO, or use every.", "rrule"
        ) from None


def _is_published(v: dict[str, Any], proposal: StandingDefault | None) -> bool:
    return (
        proposal is not None
        and proposal.interval_is == CheckPoint.IntervalIs.PUBLISHED
        and (v["every"], v["every_unit"]) == (proposal.every, proposal.every_unit)
    )


class DefectTable(Table):
    """Defects."""

    name = "defects"
    meaning = "What was found that is not as it should be. A known defect stays as it is."
    model = Defect
    act = "do rounds"
    key = ("kiln", "found_at", "what")
    spans = (Span("found_at", "mended_at", "it was mended before it was found", may_be_empty=True),)
    is_record = True
    former_columns: ClassVar[Mapping[str, str]] = {"cured_at": "mended_at"}
    columns = (
        KILN,
        COMPONENT,
        Ref("failure_mode", "how it fails (catalogue)", "escape-latch-corroded", to="failure_mode"),
        Moment("found_at", "when it was found", "2026-11-20 10:30", is_required=True),
        Ref("found_by", "who found it", "anna", to="person"),
        Text("what", "what is wrong", "Latch goes stiffly", is_required=True),
        Text("consequence", "what follows from it", "", largest=10_000),
        Choice("likelihood", "sure, soon or later", "later", default="soon", options=Defect.Likelihood),
        Number("cost_of_delay_per_day", "cost of a day's delay", "0", default=0, decimals=2, least="0"),
        Flag("is_safety", "safety?", "yes"),
        Flag("blocks_entry", "does it block entry?", "no"),
        Moment("mended_at", "when it was mended; empty: it still exists", ""),
        Ref("check", "number of the function check that found it", "", to="check"),
        Ref("point", "code of the check point at which it was found", "", to="check_point"),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Check what belongs together."""
        v = row.values
        refuse_other_kind(v)
        if bool(v["check"]) != bool(v["point"]):
            raise CellFault("check and point belong together", "Fill in both, or neither.", "point")

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Find the findings that put defects on record."""
        findings = {
            (found.item.check_up_id, found.item.point_id, found.item.component_id): found
            for found in Finding.objects.filter(result=Finding.Result.DEFECT).select_related("item")
        }
        sound = []
        for row in rows:
            v = row.values
            key = (v["check"].pk, v["point"].pk, v["component"].pk if v["component"] else None) if v["check"] else None
            v["finding"] = findings.get(key) if key else None
            if key and v["finding"] is None:
                load.fault(self, row, "point", "the check found no defect at this point", "Correct check or point.")
            else:
                sound.append(row)
        return sound

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Let the finder's sign-in stand for the finder."""
        person = row.values["found_by"]
        return super().fields(row, load) | {
            "found_by": getattr(person, "user", None),
            "cured_at": row.values["mended_at"],
        }


class ProofTestTable(Table):
    """Proof tests."""

    name = "proof_tests"
    meaning = "Tests of what fails unseen: escape doors, alarms. What was tested is only added to."
    model = ProofTest
    act = "do rounds"
    key = ("component", "tested_at")
    is_record = True
    columns = (
        KILN,
        Ref("component", "tag of the component", "escape-door-1", is_required=True, to="component"),
        Moment("tested_at", "when", "2026-11-03 14:00", is_required=True),
        Ref("tested_by", "who", "anna", is_required=True, to="person"),
        Choice("outcome", "passed or failed", "passed", is_required=True, options=ProofTest.Outcome),
        Text("seal_no", "number of the seal put on (when passed)", "S-10482", largest=40),
        Day("next_due_on", "next due", "2026-12-03", is_required=True),
        Text("note", "note", "", largest=10_000),
        Ref("work_order", "number of the past work", "", to="work_order"),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """A passed test names its seal."""
        v = row.values
        if v["outcome"] == ProofTest.Outcome.PASSED and not v["seal_no"]:
            raise CellFault("a passed test has no seal", "Write the number of the seal that was put on.", "seal_no")

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Add the key."""
        v = row.values
        key = stable_key("proof test", v["kiln"].tag, v["component"].tag, v["tested_at"])
        return super().fields(row, load) | {"key": key}


def take_from_sheet(v: dict[str, Any]) -> None:
    """Take from the task sheet what a row leaves open. Raises CellFault where there is none and too much is open."""
    sheet = v["sheet"]
    if sheet is None and not (v["title"] and v["hours"] and v["needs_state"]):
        raise CellFault("without task sheet it needs title, hours and needs_state", "Fill them in.", "sheet")
    if bool(v["recurring_task"]) != bool(v["occurrence_on"]):
        raise CellFault("recurring_task and occurrence_on belong together", "Fill in both.", "occurrence_on")
    for name, default in (("title", ""), ("hours", None), ("crew", 1), ("needs_state", ""), ("is_safety", False)):
        if v[name] in (None, ""):
            v[name] = getattr(sheet, name) if sheet else default


class WorkDoneTable(Table):
    """Past work."""

    name = "work_done"
    meaning = (
        "Work orders that are over. Steps, skills, hours and the state of the kiln come from the task sheet. Known "
        "work stays as it is."
    )
    model = WorkOrder
    act = "sign off work"
    key = ("number",)
    kind = "work_order"
    spans = (
        Span("started_at", "done_at", "it was done before it was started", may_be_empty=True),
        Span("done_at", "signed_off_at", "it was signed off before it was done", may_be_empty=True),
    )
    is_record = True
    former_columns: ClassVar[Mapping[str, str]] = {
        "standing_task": "recurring_task",
        "cured_downtime": "ended_downtime",
    }
    columns = (
        Text("number", "number of the work order", "WO-0001", is_required=True, largest=20),
        Ref("sheet", "code of the task sheet (catalogue)", "escape-door-proof-test", to="sheet"),
        Text("title", "the job; empty: as the task sheet", "", largest=160),
        KILN,
        COMPONENT,
        Choice(
            "origin",
            "recurring task, finding, watch or asked for",
            "asked_for",
            default="asked_for",
            options=WorkOrder.Origin,
        ),
        Ref("recurring_task", "code of the recurring task", "", to="standing_task"),
        Day("occurrence_on", "date of the recurring task that it settles", ""),
        Choice("needs_state", "state of the kiln it needs; empty: as the task sheet", "", options=NeedsState),
        Number("hours", "hours; empty: as the task sheet", "", above="0", most="10000"),
        Whole("crew", "people; empty: as the task sheet", "", least="1", most="100"),
        Moment("raised_at", "when it was raised", "2026-10-20 07:00", is_required=True),
        Moment("due_at", "when it was due", "2026-11-03 15:00", is_required=True),
        Moment("started_at", "when it was started", "2026-11-03 13:00", is_required=True),
        Moment("done_at", "when it was done", "2026-11-03 14:00", is_required=True),
        Moment("signed_off_at", "when it was signed off; empty: it waits for that", ""),
        Ref("signed_off_by", "who signed it off; safety work: nobody who did it", "", to="person"),
        Flag("is_safety", "safety work? empty: as the task sheet says", "", default=None),
        Amounts("labour", "people with minutes each", "anna 60", to="person", decimals=0),
        Amounts("readings", "steps with the reading taken", "", to=""),
        Text("result", "what was done", "Opened from inside without force; new seal.", largest=10_000),
        Moment("ended_downtime", "start of the downtime that it ended", ""),
        Moment("caused_downtime", "start of the downtime that it caused", ""),
    )

    def prepare(self, row: Row, load: Load) -> None:
        """Take from the task sheet what the row leaves open."""
        v = row.values
        take_from_sheet(v)
        if v["recurring_task"]:
            v["origin"] = WorkOrder.Origin.STANDING_TASK.value

    def check(self, rows: list[Row], load: Load) -> list[Row]:
        """Find the downtimes, and refuse an occurrence that two orders settle."""
        kilns = {row.values["kiln"].pk for row in rows}
        stops = {(stop.kiln_id, stop.start_at): stop for stop in Downtime.objects.filter(kiln__in=kilns)}
        settled: dict[tuple[int, Any], str] = {
            (task, day): number
            for task, day, number in WorkOrder.objects.filter(standing_task__isnull=False).values_list(
                "standing_task_id", "occurrence_on", "number"
            )
        }
        sound = []
        for row in rows:
            v, is_sound = row.values, True
            for name in ("ended_downtime", "caused_downtime"):
                if v[name] is not None:
                    v[name] = stops.get((v["kiln"].pk, v[name]))
                    if v[name] is None:
                        load.fault(self, row, name, "no downtime of this kiln starts then", "Correct the instant.")
                        is_sound = False
            if v["recurring_task"]:
                other = settled.setdefault((v["recurring_task"].pk, v["occurrence_on"]), v["number"])
                if other != v["number"]:
                    load.fault(self, row, "occurrence_on", f"{other} settles this date already", "Correct the date.")
                    is_sound = False
            if is_own_signature(v):
                load.fault(self, row, "signed_off_by", "whoever did this safety work signed it off", SIGN_ANEW)
                is_sound = False
            if is_sound:
                sound.append(row)
        return sound

    def fields(self, row: Row, load: Load) -> dict[str, Any]:
        """Add the state, and the sign-in of who signed off."""
        v = row.values
        state = WorkOrder.State.SIGNED_OFF if v["signed_off_at"] else WorkOrder.State.DONE
        return super().fields(row, load) | {
            "state": state.value,
            "standing_task": v["recurring_task"],
            "sheet_version": v["sheet"].version if v["sheet"] else None,
            "cured_downtime": v["ended_downtime"],
            "signed_off_by": getattr(v["signed_off_by"], "user", None) if v["signed_off_at"] else None,
        }

    def after(self, rows: list[Row], load: Load) -> Iterable[int]:
        """Write steps with what was recorded, skills and labour of new orders."""
        worked = set(WorkStep.objects.values_list("work_order_id", flat=True)) | set(
            Labour.objects.values_list("work_order_id", flat=True)
        )
        new = [row for row in rows if row.obj.pk not in worked]
        steps, skills = defaultdict(list), defaultdict(list)
        for step in TaskStep.objects.all():
            steps[step.sheet_id].append(step)
        for skill in TaskSkill.objects.all():
            skills[skill.sheet_id].append(skill)
        self._write_steps(new, steps)
        WorkSkill.objects.bulk_create(
            [
                WorkSkill(work_order=row.obj, skill_id=needed.skill_id, persons=needed.persons)
                for row in new
                for needed in skills[row.obj.sheet_id]
            ],
            batch_size=BATCH,
        )
        Labour.objects.bulk_create(
            [
                Labour(
                    key=stable_key("labour", row.obj.number, person.code, no),
                    work_order=row.obj,
                    person=person,
                    minutes=int(minutes),
                    at=row.values["done_at"],
                    by=getattr(person, "user", None),
                )
                for row in new
                for no, (person, minutes) in enumerate(row.values["labour"])
                if minutes
            ],
            batch_size=BATCH,
        )
        raise_series("work order", "WO-", (row.obj.number for row in rows))
        return ()

    def _write_steps(self, rows: list[Row], steps: dict[int, list[TaskStep]]) -> None:
        copied = ("no", "text", "reading_name", "reading_unit", "low", "high", "is_required")
        made = [
            (row, WorkStep(work_order=row.obj, **{name: getattr(step, name) for name in copied}))
            for row in rows
            for step in steps[row.obj.sheet_id]
        ]
        WorkStep.objects.bulk_create([step for _, step in made], batch_size=BATCH)
        records = []
        for row, step in made:
            v = row.values
            readings = {int(no): reading for no, reading in v["readings"] if str(no).isdigit()}
            by = getattr(v["labour"][0][0], "user", None) if v["labour"] else None
            records.append(
                StepRecord(
                    key=stable_key("step", row.obj.number, step.no),
                    step=step,
                    reading=readings.get(step.no),
                    at=v["done_at"] - timedelta(minutes=1),
                    by=by,
                )
            )
        StepRecord.objects.bulk_create(records, batch_size=BATCH)


def is_own_signature(values: Mapping[str, Any]) -> bool:
    """Say whether safety work, by its row or its sheet, was accepted by somebody who did it."""
    sheet, signer = values["sheet"], values["signed_off_by"]
    is_safety = values["is_safety"] or bool(sheet and (sheet.is_safety or sheet.is_proof_test))
    hands = {person.pk for person, _minutes in values["labour"]}
    return bool(is_safety and values["signed_off_at"] and signer and signer.pk in hands)
