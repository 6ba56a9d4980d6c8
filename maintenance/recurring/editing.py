"""Change what recurs: make a recurring task, edit it, let it recur no longer, let it recur again."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from maintenance.models import CheckPoint, StandingTask
from maintenance.recurring.rolling_on import refresh_due
from plant import clock
from plant.access import require
from plant.models import Change, Mill, User

RULE_FIELDS = ("anchor_on", "every", "every_unit", "rrule", "month_end", "every_running_h", "every_charges")
RESET_FIELDS = ("reset_early", "reset_inside", "reset_late")
METER_WINDOWS = ("window_before_running_h", "window_after_running_h", "window_before_charges", "window_after_charges")
WINDOW_FIELDS = ("window_before_days", "window_after_days", *METER_WINDOWS)
EDITED = (
    "component",
    *RULE_FIELDS,
    *WINDOW_FIELDS,
    *RESET_FIELDS,
    "is_safety",
    "cost_of_delay_per_day",
)


def default_interval(task: StandingTask) -> str:
    """Return the published source of the task's interval, or nothing where it is the mill's own choice."""
    default = getattr(task.sheet, "standing_default", None)
    if default is None or default.interval_is != CheckPoint.IntervalIs.PUBLISHED:
        return ""
    return str(default.source) if interval_of_default(default) == interval_of(task) else ""


def interval_of(task: StandingTask) -> dict[str, Any]:
    """Return how a task recurs, as the fields that say so."""
    return {
        "every": task.every,
        "every_unit": task.every_unit,
        "every_running_h": task.every_running_h,
        "every_charges": task.every_charges,
    }


def interval_of_default(default: Any) -> dict[str, Any]:
    """Return the interval that the catalogue proposes, in the fields of a recurring task."""
    found: dict[str, Any] = {"every": None, "every_unit": "", "every_running_h": None, "every_charges": None}
    if default.every_unit in StandingTask.Unit.values:
        found.update(every=default.every, every_unit=default.every_unit)
    elif default.every_unit == "year":
        found.update(every=12 * default.every, every_unit=StandingTask.Unit.MONTH)
    elif default.every_unit.startswith("charge"):
        found.update(every_charges=default.every)
    else:
        found.update(every_running_h=default.every)
    return found


def fresh_code(task: StandingTask) -> str:
    """Make a code that nobody has: kiln, component, sheet, and a number where there are several."""
    parts = [task.kiln.tag, task.component.tag if task.component else "", task.sheet.code]
    stem = slugify("-".join(part for part in parts if part))[:54]
    taken = set(StandingTask.objects.filter(code__startswith=stem).values_list("code", flat=True))
    return stem if stem not in taken else next(f"{stem}-{n}" for n in range(2, 10_000) if f"{stem}-{n}" not in taken)


def _refuse_withdrawn(task: StandingTask) -> None:
    """Refuse that something recurs by a sheet from which no work comes."""
    if task.sheet.is_withdrawn:
        words = _("The task sheet %(sheet)s is withdrawn (%(why)s): bring it back first, or let another one recur.")
        raise ValidationError(words % {"sheet": task.sheet, "why": task.sheet.withdrawn_why})


@transaction.atomic
def make_standing_task(task: StandingTask, *, by: User | None) -> StandingTask:
    """Keep a new recurring task and work out its first date. Raises ValidationError for a rule nobody can follow."""
    require(by, "edit recurring tasks")
    _refuse_withdrawn(task)
    task.code = task.code or fresh_code(task)
    task.is_interval_published = bool(default_interval(task))
    task.entered_on = clock.today(Mill.objects.current().zone)
    task.save()
    _work_out(task)
    Change.record(task, "made", by=by, after=_facts(task))
    return task


@transaction.atomic
def edit_standing_task(task: StandingTask, values: dict[str, Any], *, version: int, by: User | None) -> StandingTask:
    """Change a recurring task; its dates are worked out anew. ValidationError for a stale version or ill rule."""
    require(by, "edit recurring tasks")
    row = locked_task(task, version)
    before = _facts(row)
    is_new_rule = any(getattr(row, name) != values[name] for name in RULE_FIELDS)
    for name in EDITED:
        setattr(row, name, values[name])
    if is_new_rule:
        # What the last work had been due at was said by another rule.
        row.last_due_on = row.last_due_running_h = row.last_due_charges = None
        row.passed_over_on = row.passed_over_running_h = row.passed_over_charges = None
    row.is_interval_published = bool(default_interval(row))
    row.version += 1
    row.save()
    _work_out(row)
    after = _facts(row)
    changed = {name for name in after if after[name] != before[name]}
    Change.record(
        row,
        "changed",
        by=by,
        before={name: before[name] for name in sorted(changed)},
        after={name: after[name] for name in sorted(changed)},
    )
    return row


def locked_task(task: StandingTask, version: int) -> StandingTask:
    """Return a task locked. Raises ValidationError for a stale version."""
    row = StandingTask.objects.select_for_update(of=("self",)).select_related("sheet", "kiln").get(pk=task.pk)
    if row.version != version:
        last = Change.objects.about(row).last()
        raise ValidationError(
            _("Somebody changed this meanwhile: %(who)s, %(act)s. What you typed still stands here; look again.")
            % {"who": (last and last.by) or _("the program"), "act": last.did if last else _("changed")},
            code="stale",
        )
    return row


def _facts(task: StandingTask) -> dict[str, str]:
    return {name: str(getattr(task, name)) for name in (*EDITED, "next_due_on")}


def _work_out(task: StandingTask) -> None:
    day = clock.today(Mill.objects.current().zone)
    for trouble in refresh_due([task], day):
        raise ValidationError(trouble.why)


@transaction.atomic
def withdraw_standing_task(task: StandingTask, why: str, *, version: int, by: User | None) -> StandingTask:
    """Let a task recur no longer; its open work order stays, to be done or withdrawn on its own."""
    require(by, "edit recurring tasks")
    if not why.strip():
        raise ValidationError(_("Say why it recurs no longer: the next person will ask."))
    row = locked_task(task, version)
    return _switch(row, False, "withdrawn from recurring", why.strip(), by)


@transaction.atomic
def resume_standing_task(task: StandingTask, *, version: int, by: User | None) -> StandingTask:
    """Let a withdrawn task recur again; its dates are worked out anew."""
    require(by, "edit recurring tasks")
    row = locked_task(task, version)
    _refuse_withdrawn(row)
    row = _switch(row, True, "recurs again", "", by)
    _work_out(row)
    return row


def _switch(row: StandingTask, is_active: bool, act: str, note: str, by: User | None) -> StandingTask:
    if row.is_active != is_active:
        row.is_active = is_active
        row.version += 1
        row.save(update_fields=["is_active", "version"])
        Change.record(row, act, by=by, before={"recurs": not is_active}, after={"recurs": is_active}, note=note)
    return row
