"""A task sheet or a check point as plain content: to be compared, kept as a version, copied, and written again."""

from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import Any

from inventory.models import PartKind
from maintenance.models import Caution, CheckPoint, StandingDefault, TaskPart, TaskSheet, TaskSkill, TaskStep
from plant.models import ComponentKind, Skill

Content = dict[str, Any]
SHEET_FIELDS = ("title", "needs_state", "crew", "is_proof_test", "is_safety", "purpose", "source", "source_status")
POINT_FIELDS = (
    "what",
    "end_view_no",
    "seen_in",
    "method",
    "criterion",
    "substitute_when",
    "blocks_entry",
    "per",
    "interval_text",
    "interval_days",
    "interval_is",
    "source",
    "source_status",
)
STEP_FIELDS = ("no", "text", "reading_name", "reading_unit", "is_required")
LIMITS = ("low", "high")


def plain(number: Decimal | None) -> str:
    """Return a number as a content keeps it: without zeros at its end; nothing for none."""
    return "" if number is None else f"{Decimal(number).normalize():f}"


def sheet_contents(sheets: Iterable[TaskSheet]) -> dict[int, Content]:
    """Return sheet id -> its content; six queries for any number of sheets."""
    ids = [sheet.pk for sheet in sheets]
    found = TaskSheet.objects.filter(pk__in=ids).select_related("kind", "standing_default")
    related = ("skills__skill", "steps", "parts__part_kind", "cautions")
    return {sheet.pk: _sheet_content(sheet) for sheet in found.prefetch_related(*related)}


def _sheet_content(sheet: TaskSheet) -> Content:
    usual = getattr(sheet, "standing_default", None)
    return {
        **{name: getattr(sheet, name) for name in SHEET_FIELDS},
        "kind": sheet.kind.code,
        "hours": plain(sheet.hours),
        "every": str(usual.every) if usual else "",
        "every_unit": usual.every_unit if usual else "",
        "skills": {one.skill.code: one.persons for one in sorted(sheet.skills.all(), key=lambda one: one.skill.code)},
        "steps": [
            {name: getattr(step, name) for name in STEP_FIELDS} | {name: plain(getattr(step, name)) for name in LIMITS}
            for step in sheet.steps.all()
        ],
        "parts": {
            one.part_kind.code: plain(one.quantity)
            for one in sorted(sheet.parts.all(), key=lambda one: one.part_kind.code)
        },
        "cautions": sorted(one.code for one in sheet.cautions.all()),
    }


def point_contents(points: Iterable[CheckPoint]) -> dict[int, Content]:
    """Return point id -> its content; two queries for any number of points."""
    ids = [point.pk for point in points]
    found = CheckPoint.objects.filter(pk__in=ids).select_related("kind", "substitute").prefetch_related("cautions")
    return {
        point.pk: {
            **{name: getattr(point, name) for name in POINT_FIELDS},
            "kind": point.kind.code,
            "substitute": point.substitute.code if point.substitute else "",
            "cautions": sorted(one.code for one in point.cautions.all()),
        }
        for point in found
    }


def content_of(row: TaskSheet | CheckPoint) -> Content:
    """Return the content of one row as it is now."""
    contents = sheet_contents([row]) if isinstance(row, TaskSheet) else point_contents([row])
    return contents[row.pk]


def write_content(row: TaskSheet | CheckPoint, content: Content) -> None:
    """Let a row, new or on record, say what a content says. Runs in the caller's transaction."""
    row.kind = ComponentKind.objects.get(code=content["kind"])
    if isinstance(row, TaskSheet):
        _write_sheet(row, content)
    else:
        for name in POINT_FIELDS:
            setattr(row, name, content[name])
        row.substitute = CheckPoint.objects.get(code=content["substitute"]) if content["substitute"] else None
        row.save()
    row.cautions.set(Caution.objects.filter(code__in=content["cautions"]))


def _write_sheet(sheet: TaskSheet, content: Content) -> None:
    for name in SHEET_FIELDS:
        setattr(sheet, name, content[name])
    sheet.hours = Decimal(content["hours"])
    sheet.save()
    sheet.skills.all().delete()
    sheet.steps.all().delete()
    sheet.parts.all().delete()
    skills = _by_code(Skill, content["skills"])
    TaskSkill.objects.bulk_create(
        TaskSkill(sheet=sheet, skill=skills[code], persons=persons) for code, persons in content["skills"].items()
    )
    TaskStep.objects.bulk_create(
        TaskStep(sheet=sheet, **step | {name: Decimal(step[name]) if step[name] else None for name in LIMITS})
        for step in content["steps"]
    )
    kinds = _by_code(PartKind, content["parts"])
    TaskPart.objects.bulk_create(
        TaskPart(sheet=sheet, part_kind=kinds[code], quantity=Decimal(amount))
        for code, amount in content["parts"].items()
    )
    _write_interval(sheet, content)


def _write_interval(sheet: TaskSheet, content: Content) -> None:
    """Keep how often it usually recurs: what its recurring tasks begin with. Windows and resets stay as they are."""
    if not content["every"]:
        StandingDefault.objects.filter(sheet=sheet).delete()
        return
    StandingDefault.objects.update_or_create(
        sheet=sheet,
        defaults={"every": int(content["every"]), "every_unit": content["every_unit"]},
        create_defaults={
            "every": int(content["every"]),
            "every_unit": content["every_unit"],
            "reset_early": "completion",
            "reset_inside": "anchored",
            "reset_late": "completion",
            "interval_is": CheckPoint.IntervalIs.OWN_CHOICE,
        },
    )


def _by_code(model: type[Skill] | type[PartKind], codes: Collection[str]) -> dict[str, Any]:
    return {one.code: one for one in model._default_manager.filter(code__in=codes)}
