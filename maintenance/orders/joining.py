"""One job, once: what asks for the same work on the same component joins the work order that is open for it.

The same work is the same task sheet on the same component. A sheet says what is done; where a finding or a watch names
none, its failure mode's remedy is meant (``defects.suggest_sheet``, the watch's own sheet). Without a component or a
sheet nobody knows that it is the same. Never joined are proof tests, each of which stands for itself, and what bars
entry or is safety: that ends by its own signature.

An order that is under way is joined as well, since those who are at it do just that; a finished one never.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Q

from maintenance.models import Defect, StandingTask, TaskSheet, Watch, WorkOrder
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, Component, Kiln, User

#: A sheet for a kind of which a kiln has up to so many is done on each with its own steps; of more, the sheet is meant
#: for all of them together, and a list of each would be followed by nobody. Our own choice.
MOST_EACH = 3


@dataclass(frozen=True)
class Asked:
    """What a further origin asks of a work order."""

    origin: str
    why: Sentences
    due_at: datetime
    earliest_at: datetime | None = None
    cost_of_delay_per_day: Decimal = Decimal(0)
    cost_unknown_why: Sentences = ()
    standing_task: StandingTask | None = None
    occurrence_on: date | None = None
    defect: Defect | None = None


def same_work(kiln: Kiln, component: Component | None, sheet: TaskSheet | None) -> WorkOrder | None:
    """Return the open work order for the same work on the same component, the first raised.

    The kiln must be locked (``lock_kiln``), so that two origins at once come one after the other.
    """
    if component is None or sheet is None or sheet.is_proof_test:
        return None
    found = WorkOrder.objects.unfinished().filter(kiln=kiln, sheet=sheet, check_up__isnull=True)
    found = found.filter(Q(component=component) | Q(covers=component)).select_for_update(of=("self",))
    first = found.order_by("raised_at", "pk").values_list("pk", flat=True).first()
    return WorkOrder.objects.select_related("kiln__mill", "component", "sheet").get(pk=first) if first else None


def suspect_of(watch: Watch) -> Component | None:
    """Return the component that a watch is about: its own, else the only one of the kind in its kiln."""
    if watch.component_id is not None or watch.component_kind_id is None:
        return watch.component
    found = list(Component.objects.in_use().filter(kiln=watch.kiln_id, kind=watch.component_kind_id)[:2])
    return found[0] if len(found) == 1 else None


def components_for(task: StandingTask) -> Sequence[Component]:
    """Return the components that a recurring task is about: its own, else those of its sheet's kind in its kiln."""
    if task.component is not None:
        return [task.component]
    if task.sheet.is_proof_test:
        return []
    found = list(Component.objects.in_use().filter(kiln=task.kiln_id, kind=task.sheet.kind_id).order_by("tag"))
    return found if len(found) <= MOST_EACH else []


def join(order: WorkOrder, asked: Asked, *, by: User | None) -> None:
    """Let a further origin join a locked order: the earliest date counts, and the dearer of two costs of delay.

    Both describe the same fault, so that their costs are not added.
    """
    before = {"due_at": order.due_at.isoformat()}
    order.due_at = min(order.due_at, asked.due_at)
    order.earliest_at = min(order.earliest_at, asked.earliest_at) if order.earliest_at and asked.earliest_at else None
    order.cost_of_delay_per_day = max(order.cost_of_delay_per_day, asked.cost_of_delay_per_day)
    if not order.cost_of_delay_per_day:
        order.cost_unknown_why = order.cost_unknown_why or asked.cost_unknown_why
    if asked.standing_task is not None:
        order.standing_task = asked.standing_task
        order.occurrence_on = asked.occurrence_on
    if asked.defect is not None:
        order.defect = asked.defect
    if asked.why:
        order.why = (*order.why, Sentence.of("raised.joined", why=asked.why))
    order.version += 1
    order.save()
    after = {"origin": str(asked.origin), "due_at": order.due_at.isoformat()}
    Change.record(order, "joined", by=by, before=before, after=after, said=asked.why)
