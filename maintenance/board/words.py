"""What the page of openings says in words: what is unsafe, what waits without a place and why, what matters today."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.board.leaving_out import say_left_out
from maintenance.entry.bars import EntryBar
from maintenance.entry.permits import takes_people_inside
from maintenance.frame.shouts import Shout
from maintenance.models import WorkOrder
from maintenance.orders.calculations.ranking import Ranking, Work, rank_work
from maintenance.plans.desk import Desk, has_place
from plant.basics.sentences import Sentence, Sentences


def barred_jobs(orders: Iterable[WorkOrder], kilns: Mapping[int, list[EntryBar]]) -> frozenset[str]:
    """Return the placed jobs that would take people into a barred chamber; what ends the bar is none of them."""
    return frozenset(
        order.number
        for order in orders
        if order.kiln_id in kilns
        and has_place(order)
        and takes_people_inside(order)
        and not any(order.pk in bar.ended_by for bar in kilns[order.kiln_id])
    )


@dataclass(frozen=True)
class Unplaced:
    """A job without a place, and why."""

    order: WorkOrder
    why: Sentences


def unplaced(desk: Desk) -> tuple[list[Unplaced], list[Unplaced]]:
    """Return the jobs without a place: safety work, and apart from it all other, each by rank."""
    orders = [order for order in desk.orders.values() if not has_place(order) and order.state in WorkOrder.BEFORE_START]
    ranking = rank_orders(orders)
    unsupplied = desk.unsupplied()

    def named(work: Sequence[Work]) -> list[Unplaced]:
        found = []
        for one in work:
            order = desk.orders[one.ref]
            because = unsupplied.get(one.ref) or order.no_place_why or (Sentence.of("place.not_looked_for"),)
            said = () if order.is_left_out else (*because, *desk.to_order(order))
            found.append(Unplaced(order, tuple(dict.fromkeys((*say_left_out(order), *said)))))
        return found

    return named(ranking.safety), named(ranking.other)


def rank_orders(orders: Iterable[WorkOrder]) -> Ranking:
    """Rank work orders: safety work apart, the rest by cost of delay per hour of work."""
    return rank_work(
        Work(
            ref=order.number,
            work_hours=float(order.hours * order.crew),
            delay_cents_per_hour=order.delay_cents_per_hour,
            is_safety=order.is_safety,
            safety_at=order.safety_at or order.due_at,
        )
        for order in orders
    )


def safety_shouts(desk: Desk) -> list[Shout]:
    """Name the safety work that is late, has no place, or has one after its date."""
    found = []
    for order in sorted(desk.orders.values(), key=lambda order: order.safety_at or order.due_at):
        latest_at = order.latest_at
        if latest_at is None:
            continue
        facts = {"kiln": order.kiln.tag, "title": order.title, "safe_on": latest_at}
        if has_place(order) and order.placement.end_at > latest_at:
            found.append(Shout("alarm", Sentence.of("safety.placed_late", **facts), order.number))
        elif latest_at < desk.now_at:
            found.append(Shout("alarm", Sentence.of("safety.past", **facts), order.number))
        elif not has_place(order) and order.state in WorkOrder.BEFORE_START:
            found.append(Shout("alarm", Sentence.of("safety.no_place", **facts), order.number))
    return found


def _barred_words(desk: Desk, barred: Collection[str], kilns: Iterable[int]) -> str:
    """Name the chambers that nobody may enter, and how many placed jobs must wait for it."""
    tags = sorted(desk.programme[kiln_id].kiln.tag for kiln_id in kilns)
    if not tags:
        return ""
    said = {"kilns": get_text_list(tags, _("and")), "jobs": len(barred)}
    if not barred:
        return _("Nobody may enter %(kilns)s.") % said
    words = ngettext(
        "Nobody may enter %(kilns)s: %(jobs)d job that is placed inside waits until the bar is lifted.",
        "Nobody may enter %(kilns)s: %(jobs)d jobs that are placed inside wait until the bar is lifted.",
        len(barred),
    )
    return words % said


def lead_sentence(desk: Desk, alarms: int, barred: Collection[str], barred_in: Iterable[int]) -> str:
    """Say in one sentence what matters to the planner this morning, what is unsafe first."""
    ahead: dict[str, int] = defaultdict(int)
    for order in desk.orders.values():
        if order.state not in WorkOrder.BEFORE_START:
            continue
        ahead["placed" if has_place(order) else "short" if desk.short.get(order.pk) else "outside"] += 1
    parts = [
        _("1 job placed") if ahead["placed"] == 1 else _("%d jobs placed") % ahead["placed"],
        _("%d waiting for parts") % ahead["short"],
        _("%d outside any opening") % ahead["outside"],
    ]
    said = [_barred_words(desk, barred, barred_in)]
    if alarms:
        said.append(
            _("1 safety matter needs you now.") if alarms == 1 else _("%d safety matters need you now.") % alarms
        )
    return " ".join(words for words in (*said, ", ".join(parts) + ".") if words)
