"""Which places at short notice no longer hold, compared with what each person was told of it."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from maintenance.models import ToldPlace, WorkOrder
from maintenance.plans.places_now import failing_places
from maintenance.telling.lock_outs_told import Span, is_near


@dataclass(frozen=True)
class DoubtNews:
    """A place somebody knows of that no longer holds, with why; an empty ``why``: it holds after all."""

    order: WorkOrder
    now: Span
    why: str

    @property
    def name(self) -> str:
        """Return what sorts it among others of the same time."""
        return self.order.number


def compare_doubts(now: datetime) -> dict[int, list[DoubtNews]]:
    """Bring what people know of doubtful places in step; return person id -> what changed at short notice.

    Where the background still looks at the places of a large mill, nothing is compared: the next tick does it.
    """
    failing = failing_places(now)
    if failing.as_of is not None:
        return {}
    news: dict[int, list[DoubtNews]] = defaultdict(list)
    turned = []
    known = ToldPlace.objects.filter(work_order__state=WorkOrder.State.PLACED, end_at__gt=now)
    for told in known.select_related("work_order__kiln"):
        span = (told.start_at, told.end_at)
        why = failing.of(told.work_order.number)
        if bool(why) != told.is_in_doubt and is_near(span, now):
            told.is_in_doubt = bool(why)
            turned.append(told)
            news[told.person_id].append(DoubtNews(told.work_order, span, why))
    ToldPlace.objects.bulk_update(turned, ["is_in_doubt"], batch_size=200)
    return news
