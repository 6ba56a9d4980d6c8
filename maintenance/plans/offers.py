"""Where a job would fit as things stand: the times of its kiln, and a start with people in each, or why not."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from maintenance.models import WorkOrder
from maintenance.placing.frame import ANYWHERE
from maintenance.placing.offering import best_offer, places_for, room_in, why_not, without_job
from maintenance.plans.desk import has_place
from maintenance.plans.drawing import person_id_of
from maintenance.plans.standing import Standing
from maintenance.plans.why import kind_of, say_missed
from plant.frame.saying import say

#: Nothing is offered that begins sooner: whoever reads a page needs some minutes to take what it offers.
TO_TAKE_IT = timedelta(minutes=15)


@dataclass(frozen=True)
class KilnTime:
    """A time of a kiln: an opening (``empty``), a running phase, or a standstill with the timber inside (``still``).

    ``key`` names it in an address, ``place`` in the problem; work in it lies between ``work_from_at`` and
    ``work_to_at``.
    """

    tag: str
    key: str
    kind: str
    place: int
    start_at: datetime
    end_at: datetime
    work_from_at: datetime
    work_to_at: datetime
    after_charge_id: int | None = None
    during_charge_id: int | None = None
    label: str = ""

    def serves(self, order: WorkOrder) -> bool:
        """Say whether the kiln is then in the state that a job needs: still is locked out, loaded or not."""
        return order.needs_state == self.kind or (order.needs_state == "still" and self.kind == "empty")

    def holds(self, order: WorkOrder) -> bool:
        """Say whether a job has its place in it."""
        if not has_place(order) or not self.serves(order):
            return False
        placed = order.placement
        if self.kind == "empty":
            return placed.during_charge_id is None and placed.after_charge_id == self.after_charge_id
        in_it = self.start_at <= placed.start_at < self.end_at
        return in_it and placed.during_charge_id in (None, self.during_charge_id)


@dataclass(frozen=True)
class Offer:
    """A job, and where it would go in a time of its kiln (None: at any time): a start with people, or why not."""

    order: WorkOrder
    time: KilnTime | None
    why: str = ""
    start_at: datetime | None = None
    end_at: datetime | None = None
    #: Id and name of each.
    people: tuple[tuple[str, str], ...] = ()
    is_overtime: bool = False

    @property
    def is_late(self) -> bool:
        """Say whether it would be done after its safety date, or for other work after its due date."""
        return self.end_at is not None and self.end_at > (self.order.latest_at or self.order.due_at)


def times_of_kiln(standing: Standing, tag: str, now_at: datetime) -> list[KilnTime]:
    """Return the times of a kiln from now to the horizon, in order."""
    kiln = standing.frame.number_of_kiln.get(tag)
    count = 0 if kiln is None else 2 * len(standing.frame.kilns[kiln].charges) - 1
    found = [_time(standing, kiln or 0, place, now_at) for place in range(count)]
    keys: set[str] = set()
    named = []
    for one in found:
        if one is not None and one.end_at > now_at and one.key not in keys:
            keys.add(one.key)
            named.append(one)
    return named


def _time(standing: Standing, kiln: int, place: int, now_at: datetime) -> KilnTime | None:
    frame, drawn = standing.frame, standing.drawn
    of, starts, index = frame.kilns[kiln], standing.state.starts[kiln], place // 2
    kind = kind_of(standing, kiln, place)
    from_min, to_min = room_in(standing.state, kiln, place)
    if kind == "running":
        start_min, end_min = from_min, to_min
        before = None
    else:
        start_min = starts[index - 1] + of.charges[index - 1].length_min if index else 0
        end_min = to_min + of.restore_min
        before = drawn.charge_ids[of.tag][index - 1] if index else drawn.last_charge_ids[of.tag]
    if end_min <= start_min:
        return None
    during = drawn.charge_ids[of.tag][index] if kind != "empty" else None
    charge = standing.charges.get((during if kind != "empty" else before) or 0)
    start_at = drawn.at(start_min)
    if kind == "empty" and not index and charge is not None:
        start_at = min(charge.end_at, start_at)
    words = {
        "running": (_("during charge %(number)s"), f"during-{during}"),
        "still": (_("while charge %(number)s stands in it"), f"still-{during}-{index}"),
        "empty": (_("after charge %(number)s"), f"after-{before}" if before else "first"),
    }
    label, key = words[kind]
    if kind == "running" and of.charges[index].goes_on:
        key += f"-{index}"
    return KilnTime(
        tag=of.tag,
        key=key,
        kind=kind,
        place=place,
        start_at=start_at,
        end_at=drawn.at(end_min),
        work_from_at=max(drawn.at(from_min), now_at) if kind == "running" else drawn.at(from_min),
        work_to_at=drawn.at(to_min),
        after_charge_id=before if kind == "empty" else None,
        during_charge_id=during,
        label=label % {"number": charge.number} if charge is not None else "",
    )


def offer(standing: Standing, order: WorkOrder, time: KilnTime | None, now_at: datetime) -> Offer:
    """Return the place that adds least for a job in a time of its kiln, or why there is none."""
    if order.number not in standing.frame.number_of_job:
        return Offer(order, time, say(standing.drawn.aside.get(order.number)) or _("It is not part of the plan."))
    frame, drawn = standing.frame, standing.drawn
    job = frame.number_of_job[order.number]
    state = without_job(standing.state, job)
    # What is kept in the process may have been drawn some minutes ago.
    now_min = max(0, -int((drawn.base_at - now_at - TO_TAKE_IT) // timedelta(minutes=1)))
    place = ANYWHERE if time is None else time.place
    best = best_offer(state, job, now_min, {place})
    if best is None:
        return Offer(order, time, say(say_missed(standing, why_not(state, job, place, now_min))))
    end_min = best.at.start_min + frame.jobs[job].duration_min
    refs = sorted({person_id_of(frame.people[person].ref) for person, _skill in best.at.crew}, key=int)
    return Offer(
        order,
        time,
        start_at=drawn.at(best.at.start_min),
        end_at=drawn.at(end_min),
        people=tuple((ref, standing.name_of(ref)) for ref in refs),
        is_overtime=end_min > frame.shifts[best.at.shift].end_min,
    )


def offers_for(standing: Standing, order: WorkOrder, now_at: datetime, most: int) -> Iterator[Offer]:
    """Give the offers for a job in the next times of its kiln that have the state it needs."""
    if order.number not in standing.frame.number_of_job or order.needs_state == "any":
        yield offer(standing, order, None, now_at)
        return
    places = set(places_for(standing.frame, standing.frame.number_of_job[order.number]))
    times = [one for one in times_of_kiln(standing, order.kiln.tag, now_at) if one.place in places]
    for time in times[:most]:
        yield offer(standing, order, time, now_at)
