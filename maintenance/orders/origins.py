"""What asked for a work order: each origin that it has, and whether any is left."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models import Defect, Firing, WorkOrder

Origin = WorkOrder.Origin
BY_HAND = (Origin.ASKED_FOR, Origin.FUNCTION_CHECK)


@dataclass(frozen=True)
class OriginLine:
    """An origin as pages and papers name it; ``fell_away`` says that it proved to be none."""

    name: str
    what: str
    url: str = ""
    fell_away: bool = False


def origins_of(order: WorkOrder) -> list[OriginLine]:
    """Return all origins, what asked first at the head; two queries at most."""
    lines = [*_of_task(order), *_of_finding(order), *_of_watches(order)]
    if order.origin in BY_HAND or not lines:
        lines.insert(0, OriginLine(str(order.get_origin_display()), ""))
    first = str(order.get_origin_display())
    return sorted(lines, key=lambda line: line.name != first)


def _of_task(order: WorkOrder) -> Iterable[OriginLine]:
    task = order.standing_task
    if task is not None:
        on = date_format(order.occurrence_on, "j M Y") if order.occurrence_on else ""
        yield OriginLine(str(Origin.STANDING_TASK.label), f"{task}, {on}", task.get_absolute_url())


def _of_finding(order: WorkOrder) -> Iterable[OriginLine]:
    if order.defect is not None:
        yield OriginLine(str(Origin.FINDING.label), order.defect.what)


def _of_watches(order: WorkOrder) -> Iterable[OriginLine]:
    firings: dict[int, list[Firing]] = {}
    for firing in order.firings.select_related("watch__kiln").order_by("begin_at"):
        firings.setdefault(firing.watch_id, []).append(firing)
    for of_watch in firings.values():
        watch = of_watch[0].watch
        is_false = all(firing.verdict == Firing.Verdict.WRONG for firing in of_watch)
        yield OriginLine(str(Origin.WATCH.label), watch.name, watch.get_absolute_url(), is_false)


def is_nothing_left(order: WorkOrder) -> bool:
    """Say whether all that asked for an open order fell away: then somebody may withdraw it."""
    lines = origins_of(order)
    return bool(lines) and all(line.fell_away for line in lines)


def is_asked_for_besides(order: WorkOrder, defect: Defect) -> bool:
    """Say whether something else than a defect still asks for an order."""
    rest = [line for line in origins_of(order) if line != OriginLine(str(Origin.FINDING.label), defect.what)]
    return any(not line.fell_away for line in rest)


def say_origins(order: WorkOrder) -> str:
    """Say in one line what asked for an order."""
    said = []
    for line in origins_of(order):
        words = f"{line.name} ({line.what})" if line.what else line.name
        said.append(_("%(origin)s, which proved false") % {"origin": words} if line.fell_away else words)
    return "; ".join(said)
