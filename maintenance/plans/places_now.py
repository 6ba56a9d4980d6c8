"""Which places on record no longer hold, and why: one answer for board, own work, work orders and papers.

A small mill is asked at once; what was found stays in the process until something is recorded. Of a large mill the
background looks, so that no page waits for it, and the answer is kept: pages say as of when it is.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from maintenance.models import PlaceLook, Placement, WorkOrder
from maintenance.plans.standing import FRESH_FOR, last_change, standing_now
from plant import clock
from plant.background.queueing import enqueue
from plant.basics.sentences import all_to_json
from plant.frame.saying import say_kept
from plant.models import Kiln, User
from plant.warnings.consequences import NoLongerHolds

LOOK_AT_PLACES_TASK = "look at places"
#: Up to so many places a page looks by itself: some tenths of a second. Our own choice.
MOST_AT_ONCE = 200


@dataclass(frozen=True)
class FailingPlaces:
    """Work order number -> why its place no longer holds; ``as_of`` where something was recorded since the look."""

    why: Mapping[str, Any] = field(default_factory=dict)
    as_of: datetime | None = None

    def of(self, number: str) -> str:
        """Say why the place of a job no longer holds; nothing where it holds."""
        why = say_kept(self.why.get(number))
        if not why or self.as_of is None:
            return why
        return _("%(why)s (As of %(at)s.)") % {"why": why, "at": f"{localtime(self.as_of):%H:%M}"}


def failing_places(now_at: datetime) -> FailingPlaces:
    """Return the places on record that no longer hold; a fixed number of queries once somebody has looked."""
    count = Placement.objects.count()
    if not count:
        return FailingPlaces()
    look = PlaceLook.objects.first()
    if look is not None and _is_fresh(look, now_at):
        return FailingPlaces(look.faults)
    if count <= MOST_AT_ONCE:
        return FailingPlaces(_kept(now_at))
    slot = int(now_at.timestamp() // FRESH_FOR.total_seconds())
    enqueue(LOOK_AT_PLACES_TASK, f"{LOOK_AT_PLACES_TASK} {last_change()} {slot}")
    return FailingPlaces() if look is None else FailingPlaces(look.faults, look.looked_at)


def places_that_fail(kilns: Collection[Kiln], user: User) -> list[NoLongerHolds]:
    """Name the jobs on kilns whose place no longer holds, to who may see them."""
    if not user.may("see work"):
        return []
    failing = failing_places(clock.now())
    orders = WorkOrder.objects.filter(number__in=failing.why, kiln__in=kilns).order_by("number")
    return [
        NoLongerHolds(str(one), failing.of(one.number), one.get_absolute_url(), is_safety=one.is_safety)
        for one in orders
    ]


def look_at_places(now_at: datetime) -> int:
    """Look at all places and keep the answer, unless the one that is kept is fresh; return how many do not hold."""
    look = PlaceLook.objects.first()
    if look is None or not _is_fresh(look, now_at):
        change = last_change()
        faults = _kept(now_at)
        look, _is_new = PlaceLook.objects.update_or_create(
            key=PlaceLook.KEY, defaults={"looked_at": now_at, "change": change, "faults": faults}
        )
    return len(look.faults)


def _kept(now_at: datetime) -> dict[str, Any]:
    standing = standing_now(now_at)
    return {ref: all_to_json(why) for ref, why in (standing.failing | standing.not_ready).items()}


def _is_fresh(look: PlaceLook, now_at: datetime) -> bool:
    return look.change == last_change() and look.looked_at <= now_at < look.looked_at + FRESH_FOR
