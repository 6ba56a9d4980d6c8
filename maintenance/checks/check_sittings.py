"""The parts of a function check as work orders, so that its sittings are placed, moved and given out like any job.

A part is all that is looked at in one state of the kiln. What can be seen in either state goes with the open part,
where the check has one: the chamber is open then anyway.
"""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.entry.permits import refuse_while_open_for
from maintenance.models import CheckPoint, FunctionCheck, WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.orders.moving import give_up
from maintenance.orders.raising import raise_work_order
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence
from plant.models import User
from plant.warnings.running_bars import lock_kiln

SeenIn = CheckPoint.SeenIn
State = WorkOrder.State
# The catalogue says of no point how long it takes. All four numbers are our own choice.
MINUTES_A_POINT = {NeedsState.EMPTY: 6, NeedsState.RUNNING: 4}
LEAST_MINUTES = 30
STEP_MINUTES = 15
DUE_IN = timedelta(days=28)


@dataclass(frozen=True)
class Part:
    """A part of a check: how much is left of it, and the work order under which it is looked at, if there is one."""

    needs_state: NeedsState
    count: int
    left: int
    order: WorkOrder | None

    @property
    def name(self) -> str:
        """Name the part."""
        return _("open part") if self.needs_state == NeedsState.EMPTY else _("running part")

    @property
    def seen_in(self) -> str:
        """Return the state of a sitting that looks at it."""
        return SeenIn.OPEN_EMPTY if self.needs_state == NeedsState.EMPTY else SeenIn.RUNNING

    @property
    def is_wanted(self) -> bool:
        """Say whether points are left and no work order stands for them."""
        return self.left > 0 and (self.order is None or self.order.state == State.SIGNED_OFF)

    @property
    def may_finish(self) -> bool:
        """Say whether everything is seen and somebody is still at work on it."""
        return self.left == 0 and self.order is not None and self.order.state == State.UNDER_WAY

    @property
    def is_idle(self) -> bool:
        """Say whether everything was seen before its work order was started."""
        return self.left == 0 and self.order is not None and self.order.state in WorkOrder.BEFORE_START

    @property
    def minutes(self) -> int:
        """Return how long its points take, in full quarters of an hour."""
        minutes = max(LEAST_MINUTES, self.left * MINUTES_A_POINT[self.needs_state])
        return -(-minutes // STEP_MINUTES) * STEP_MINUTES


def lock_open_check(check: FunctionCheck) -> FunctionCheck:
    """Return a check that is not closed, locked until the transaction ends."""
    check = FunctionCheck.objects.select_for_update(of=("self",)).select_related("kiln").get(pk=check.pk)
    if check.completed_at or check.withdrawn_at:
        raise ValidationError(_("%(number)s is closed: start a new check.") % {"number": check.number}, code="closed")
    return check


def parts_of_check(check: FunctionCheck) -> list[Part]:
    """Return the parts that a check has, with their work orders; a fixed number of queries."""
    counts = check.items.progress().get(check.pk, {})
    orders: dict[str, WorkOrder] = {}
    for order in check.work_orders.exclude(state=State.WITHDRAWN).for_list().order_by("pk"):
        orders[order.needs_state] = order
    either_goes = SeenIn.OPEN_EMPTY if SeenIn.OPEN_EMPTY in counts else SeenIn.RUNNING
    parts = []
    for state, seen_in in ((NeedsState.EMPTY, SeenIn.OPEN_EMPTY), (NeedsState.RUNNING, SeenIn.RUNNING)):
        of_part = [counts[one] for one in (seen_in, SeenIn.EITHER) if one in counts]
        if either_goes != seen_in:
            of_part = [counts[seen_in]] if seen_in in counts else []
        if of_part:
            count = sum(one[1] for one in of_part)
            parts.append(Part(state, count, count - sum(one[0] for one in of_part), orders.get(state)))
    return parts


def part_of(order: WorkOrder) -> Part | None:
    """Return the part of a check for which a work order stands."""
    if order.check_up is None:
        return None
    return next((part for part in parts_of_check(order.check_up) if part.needs_state == order.needs_state), None)


@transaction.atomic
def ask_for_sittings(check: FunctionCheck, *, by: User) -> list[WorkOrder]:
    """Raise a work order for each part of which points are left and for which none stands yet."""
    require(by, "place work")
    check = lock_open_check(check)
    wanted = [part for part in parts_of_check(check) if part.is_wanted]
    if not wanted:
        raise ValidationError(
            _("%(number)s needs no further work order: each part is seen or has one.") % {"number": check.number},
            code="nothing",
        )
    return [_raise(check, part, by) for part in wanted]


def _raise(check: FunctionCheck, part: Part, by: User) -> WorkOrder:
    minutes = {"each_min": MINUTES_A_POINT[part.needs_state], "least_min": LEAST_MINUTES}
    return raise_work_order(
        kiln=check.kiln,
        title=_("Function check %(kiln)s, %(part)s") % {"kiln": check.kiln, "part": part.name},
        origin=WorkOrder.Origin.FUNCTION_CHECK,
        due_at=clock.now() + DUE_IN,
        by=by,
        check_up=check,
        needs_state=part.needs_state,
        hours=Decimal(part.minutes) / 60,
        crew=1,
        why=(Sentence.of("raised.points", check=check.number, count=part.left, **minutes),),
    )


def withdraw_sittings(check: FunctionCheck, why: str) -> list[WorkOrder]:
    """Withdraw the work orders of a check that is closed, but those on which somebody works or worked.

    It follows from closing the check, so it needs no right of its own: the program does it.
    """
    lock_kiln(check.kiln_id)
    waiting = check.work_orders.select_for_update().filter(state__in=WorkOrder.BEFORE_START).order_by("pk")
    orders = list(waiting)
    for order in orders:
        refuse_while_open_for(order)
        give_up(order, None, why[:200])
    return orders
