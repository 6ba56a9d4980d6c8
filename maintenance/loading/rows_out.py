"""What is kept, as the rows of the files that would bring it: each table's values by the names of its columns."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from typing import Any

from django.db.models import QuerySet

from inventory.models import PurchaseOrderLine, StockMove
from maintenance.loading.base import Table
from maintenance.loading.cells import code_of, kept_values
from maintenance.loading.columns import Ref
from maintenance.loading.kiln_watch_table import told_parameters
from maintenance.models import (
    ChangedDate,
    CheckItem,
    CheckPoint,
    Defect,
    Finding,
    FunctionCheck,
    Labour,
    ProofTest,
    StepRecord,
    TaskSheet,
    Watch,
    WorkOrder,
)
from plant.frame.saying import say
from plant.models import Charge, Fitting, Mill, Person, User

Rows = Iterator[dict[str, Any]]
OVER = (WorkOrder.State.DONE, WorkOrder.State.SIGNED_OFF)
#: Wanted, and nobody has begun it: what is under way is finished where it was begun.
AHEAD = (WorkOrder.State.RAISED, WorkOrder.State.READY, WorkOrder.State.PLACED)


def rows_out(table: type[Table]) -> Rows:
    """Yield the rows of a table, in an order that stays the same."""
    special = SPECIAL.get(table.name)
    return special(table) if special else _as_kept(table)


def _as_kept(table: type[Table]) -> Rows:
    """Tables whose columns are the fields of their model."""
    for obj in _with_refs(table):
        yield kept_values(obj, table.columns) | {
            name: sorted(getattr(obj, name).all(), key=str) for name in table.links
        }


def _with_refs(table: type[Table]) -> "QuerySet[Any, Any]":
    fields = {field.name: field for field in table.model._meta.concrete_fields}
    refs = [column.name for column in table.columns if isinstance(column, Ref) and column.name in fields]
    order = [f"{name}__{_code_field(fields[name])}" if name in refs else name for name in table.key] or ["pk"]
    return (
        table.model._default_manager.select_related(*[name for name in refs if name not in table.links])
        .prefetch_related(*table.links)
        .order_by(*order, "pk")
    )


def _code_field(field: Any) -> str:
    names = {found.name for found in field.related_model._meta.concrete_fields}
    return next(name for name in ("code", "tag", "number") if name in names)


def _mill(table: type[Table]) -> Rows:
    for mill in Mill.objects.all():
        yield kept_values(mill, table.columns) | {"decimal_mark": "."}


def _crew(table: type[Table]) -> Rows:
    people = Person.objects.prefetch_related("qualifications__skill", "user__roles_held").order_by("code")
    for person in people:
        user: User | None = getattr(person, "user", None)
        skills = sorted(((held.skill, held.valid_until) for held in person.qualifications.all()), key=_by_code)
        # Which shift somebody is on stands in shift_duties, with all turns.
        yield kept_values(person, table.columns) | {
            "sign_in": user.username if user else "",
            "roles": sorted(held.role for held in user.roles_held.all()) if user else (),
            "skills": skills,
        }


def _by_code(pair: tuple[Any, Any]) -> str:
    return str(pair[0].code)


def _fittings(table: type[Table]) -> Rows:
    fittings = Fitting.objects.select_related("component__kiln", "failure_mode")
    for fitting in fittings.order_by("component__kiln__tag", "component__tag", "fitted_at", "pk"):
        yield kept_values(fitting, table.columns) | {"kiln": fitting.component.kiln}


def _charges(table: type[Table]) -> Rows:
    charges = Charge.ever.select_related("kiln").prefetch_related("phases").order_by("kiln__tag", "begin_at", "pk")
    for charge in charges:
        row = kept_values(charge, table.columns)
        for phase in charge.phases.all():
            row[f"{phase.kind}_at"] = phase.begin_at
            row[f"planned_{phase.kind}_at"] = phase.planned_begin_at
        yield row


def _orders(table: type[Table]) -> Rows:
    lines = PurchaseOrderLine.objects.select_related("order__supplier", "part").order_by("order__number", "pk")
    for line in lines:
        yield (kept_values(line.order, table.columns) | kept_values(line, table.columns) | {"reason": say(line.reason)})


def _own_sheets(table: type[Table]) -> Rows:
    sheets = TaskSheet.objects.filter(is_own=True).select_related("kind", "copied_from", "standing_default")
    for sheet in sheets.prefetch_related("skills__skill", "cautions").order_by("code"):
        usual = getattr(sheet, "standing_default", None)
        needed = sorted(sheet.skills.all(), key=lambda one: str(one.skill.code))
        yield kept_values(sheet, table.columns) | {
            "component_kind": sheet.kind,
            "skills": [one.skill for one in needed for _person in range(one.persons)],
            "cautions": sorted(sheet.cautions.all(), key=code_of),
            "every": usual.every if usual else None,
            "every_unit": usual.every_unit if usual else "",
            "copied_from": _shipped(sheet.copied_from),
        }


def _own_points(table: type[Table]) -> Rows:
    points = CheckPoint.objects.filter(is_own=True).select_related("kind", "copied_from", "substitute")
    for point in points.prefetch_related("cautions").order_by("code"):
        yield kept_values(point, table.columns) | {
            "component_kind": point.kind,
            "substitute_code": code_of(point.substitute),
            "cautions": sorted(point.cautions.all(), key=code_of),
            "copied_from": _shipped(point.copied_from),
        }


def _shipped(copied: Any) -> Any:
    """Return what was copied where it comes with the product; else it is a row of the same file."""
    return None if copied is None or copied.is_own else copied


def _of_own_sheets(table: type[Table]) -> Rows:
    for row in _with_refs(table).filter(sheet__is_own=True):
        yield kept_values(row, table.columns)


def _changed_dates(table: type[Table]) -> Rows:
    dates = ChangedDate.objects.filter(taken_back_at__isnull=True).select_related("standing_task", "by__person")
    for one in dates.order_by("standing_task__code", "due_on"):
        yield kept_values(one, table.columns) | {
            "recurring_task": one.standing_task,
            "by": getattr(one.by, "person", None),
        }


def _watches(table: type[Table]) -> Rows:
    related = ("kiln", "component_kind", "component", "sheet")
    for watch in Watch.objects.select_related(*related).order_by("kiln__tag", "code"):
        yield kept_values(watch, table.columns) | {
            "parameters": told_parameters(watch.parameters),
            "phases": "; ".join(watch.phases),
        }


def _moves(table: type[Table]) -> Rows:
    over = set(WorkOrder.objects.filter(state__in=OVER).values_list("number", flat=True))
    related = ("part", "bin", "lot", "reservation", "order_line__order", "by__person", "takes_back")
    for move in StockMove.objects.select_related(*related).order_by("at", "pk"):
        source = move.reservation.source if move.reservation else ""
        yield kept_values(move, table.columns) | {
            "lot": move.lot.code if move.lot else "",
            "expires_on": move.lot.expires_on if move.lot else None,
            "quantity": -move.quantity if move.kind in TAKING else move.quantity,
            "order": move.order_line.order if move.order_line else None,
            "work_order": source if source in over else None,
            "takes_back_at": move.takes_back.at if move.takes_back else None,
            "by": getattr(move.by, "person", None),
        }


TAKING = (StockMove.Kind.ISSUE, StockMove.Kind.SCRAP)


def _work_done(table: type[Table]) -> Rows:
    orders = WorkOrder.objects.filter(state__in=OVER).select_related(
        "sheet", "kiln", "component", "standing_task", "signed_off_by__person", "cured_downtime", "caused_downtime"
    )
    labour: dict[int, list[tuple[Person, int]]] = defaultdict(list)
    for entry in Labour.objects.filter(work_order__state__in=OVER).select_related("person").order_by("pk"):
        labour[entry.work_order_id].append((entry.person, entry.minutes))
    readings: dict[int, dict[int, Any]] = defaultdict(dict)
    for record in StepRecord.objects.filter(step__work_order__state__in=OVER).select_related("step").order_by("pk"):
        readings[record.step.work_order_id][record.step.no] = record.reading
    for order in orders.order_by("number"):
        taken = sorted((str(no), value) for no, value in readings[order.pk].items() if value is not None)
        yield kept_values(order, table.columns) | {
            "recurring_task": order.standing_task,
            "signed_off_by": getattr(order.signed_off_by, "person", None),
            "labour": labour[order.pk],
            "readings": taken,
            "started_at": order.started_at or order.done_at,
            "ended_downtime": order.cured_downtime.start_at if order.cured_downtime else None,
            "caused_downtime": order.caused_downtime.start_at if order.caused_downtime else None,
        }


def _work_ahead(table: type[Table]) -> Rows:
    orders = WorkOrder.objects.filter(state__in=AHEAD).select_related(
        "sheet", "kiln", "component", "standing_task", "defect", "check_up"
    )
    for order in orders.prefetch_related("covers").order_by("number"):
        yield kept_values(order, table.columns) | {
            "covers": sorted(order.covers.all(), key=code_of),
            "recurring_task": order.standing_task,
            "defect_found_at": order.defect.found_at if order.defect else None,
            "defect_what": order.defect.what if order.defect else "",
            "check": order.check_up,
            "why": say(order.why),
        }


def _proof_tests(table: type[Table]) -> Rows:
    tests = ProofTest.objects.select_related("component__kiln", "tested_by", "work_order")
    for test in tests.order_by("tested_at", "pk"):
        is_over = test.work_order is not None and test.work_order.state in OVER
        yield kept_values(test, table.columns) | {
            "kiln": test.component.kiln,
            "work_order": test.work_order if is_over else None,
        }


def _checks(table: type[Table]) -> Rows:
    for check in FunctionCheck.objects.select_related("kiln", "started_by__person").order_by("started_at", "number"):
        yield kept_values(check, table.columns) | {"started_by": getattr(check.started_by, "person", None)}


def _check_items(table: type[Table]) -> Rows:
    items = CheckItem.objects.select_related("check_up", "point", "component")
    for item in items.order_by("check_up__number", "pk"):
        yield kept_values(item, table.columns) | {"check": item.check_up}


def _findings(table: type[Table]) -> Rows:
    findings = Finding.objects.filter(taken_back__isnull=True).select_related(
        "item__check_up", "item__point", "item__component", "sitting", "failure_mode", "by__person"
    )
    for finding in findings.order_by("at", "pk"):
        yield kept_values(finding, table.columns) | {
            "check": finding.item.check_up,
            "point": finding.item.point,
            "component": finding.item.component,
            "kiln_state": finding.sitting.kiln_state,
            "by": getattr(finding.by, "person", None),
        }


def _defects(table: type[Table]) -> Rows:
    defects = Defect.objects.select_related(
        "kiln", "component", "failure_mode", "found_by__person", "finding__item__check_up", "finding__item__point"
    )
    for defect in defects.order_by("kiln__tag", "found_at", "pk"):
        item = defect.finding.item if defect.finding else None
        yield kept_values(defect, table.columns) | {
            "found_by": getattr(defect.found_by, "person", None),
            "mended_at": defect.cured_at,
            "check": item.check_up if item else None,
            "point": item.point if item else None,
        }


def _none(table: type[Table]) -> Rows:
    """What lies in the bins is the sum of all moves: no count is needed to bring it."""
    yield from ()


SPECIAL: dict[str, Callable[[type[Table]], Rows]] = {
    "mill": _mill,
    "own_task_sheets": _own_sheets,
    "own_task_steps": _of_own_sheets,
    "own_task_parts": _of_own_sheets,
    "own_check_points": _own_points,
    "changed_dates": _changed_dates,
    "kiln_watches": _watches,
    "crew": _crew,
    "fittings": _fittings,
    "charges": _charges,
    "orders": _orders,
    "stock": _none,
    "stock_moves": _moves,
    "work_done": _work_done,
    "work_ahead": _work_ahead,
    "proof_tests": _proof_tests,
    "function_checks": _checks,
    "check_items": _check_items,
    "check_findings": _findings,
    "defects": _defects,
}
