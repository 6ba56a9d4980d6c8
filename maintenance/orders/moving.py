"""Moves of a work order from state to state: the row locked, nobody's change lost, the history written."""

from typing import Any

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from inventory.actions import release
from maintenance.models import Placement, WorkOrder
from maintenance.orders.calculations.work_states import may_move
from plant.models import Change, User
from plant.warnings.running_bars import lock_kiln

State = WorkOrder.State


def lock(work_order: WorkOrder) -> WorkOrder:
    """Return the row as it is now, locked until the transaction ends."""
    rows = WorkOrder.objects.select_for_update(of=("self",))
    return rows.select_related("kiln__mill", "component", "sheet", "standing_task", "defect").get(pk=work_order.pk)


def lock_with_kiln(work_order: WorkOrder) -> WorkOrder:
    """Lock the kiln, then the row: for all that decides whether the kiln may run, or be entered."""
    lock_kiln(work_order.kiln_id)
    return lock(work_order)


def check_version(work_order: WorkOrder, version: int) -> None:
    """Refuse an edit of something that was changed meanwhile."""
    if work_order.version == version:
        return
    last = Change.objects.about(work_order).last()
    raise ValidationError(
        _("Somebody changed this meanwhile: %(who)s, %(act)s. Nothing of yours was stored; look again and repeat it.")
        % {"who": (last and last.by) or _("the program"), "act": last.did if last else _("changed")},
        code="stale",
    )


def move(
    order: WorkOrder, to: str, act: str, by: User | None, *, after: dict[str, Any] | None = None, note: str = ""
) -> None:
    """Move a locked order to another state; other fields that were set are stored with it."""
    if not may_move(order.state, to):
        raise ValidationError(
            _("%(number)s is %(state)s: it cannot become %(to)s.")
            % {"number": order.number, "state": order.get_state_display(), "to": State(to).label},
            code="state",
        )
    before = order.state
    order.state = to
    order.version += 1
    order.save()
    Change.record(order, act, by=by, before={"state": before}, after={"state": str(to), **(after or {})}, note=note)


def give_up(order: WorkOrder, by: User | None, why: str) -> None:
    """Withdraw a locked order: its parts and its place become free."""
    order.withdrawn_why = why
    move(order, State.WITHDRAWN, "withdrawn", by, note=why)
    release(order.number, by)
    Placement.objects.filter(work_order=order).delete()
