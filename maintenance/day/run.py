"""The day's work: what recurs is raised, parts set aside, jobs placed, orders advised, what is late shouted about.

Each step is one transaction that holds the mill's row, so that two runs at once come one after the other; whatever a
run finds done it leaves alone.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction

from inventory.advice import refresh_advice
from maintenance.checks.late_proof_tests import late_proof_tests
from maintenance.frame.shouts import Shout
from maintenance.models import DayRun, WorkOrder
from maintenance.orders.raising import update_readiness
from maintenance.plans.placing_all import Cleared, Placed, place_all
from maintenance.pricing.sureness import day_told, sure_of_orders, together
from maintenance.recurring.rolling_on import Rolled, roll
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, all_to_json, to_json, typed
from plant.frame.saying import say, say_kept
from plant.models import Mill, User

Progress = Callable[..., None]
SHOUTED_NUMBERS = 12


@dataclass
class DaySummary:
    """What a run of the day's work found and did; all values plain, so that it can be kept as JSON."""

    day: str
    raised: list[str] = field(default_factory=list)
    following: int = 0
    missed: int = 0
    placed: int = 0
    placed_anew: int = 0
    moved: int = 0
    without_place: int = 0
    left_out: int = 0
    waiting_for_parts: int = 0
    to_order: int = 0
    #: What is said stands as JSON: what waiting costs, and what became of places that no longer held.
    waiting: list[Any] = field(default_factory=list)
    cleared: list[Any] = field(default_factory=list)
    shouts: list[dict[str, Any]] = field(default_factory=list)

    def clear(self, cleared: Iterable[Cleared]) -> None:
        """Add what became of places that no longer held; one that stays all the same is said aloud, once."""
        shouted = {one["number"] for one in self.shouts}
        for one in cleared:
            if not one.stays:
                self.cleared.append(to_json(one.told))
            elif one.number not in shouted:
                self.shout([Shout("alarm" if one.is_safety else "mind", one.told, one.number)])

    def shout(self, shouts: Iterable[Shout]) -> None:
        """Add what must be said aloud, alarms first, nothing twice."""
        known = [{"level": one.level, "said": to_json(one.said), "number": one.number} for one in shouts]
        self.shouts += [one for one in known if one not in self.shouts]
        self.shouts.sort(key=lambda one: one["level"] != "alarm")

    def lines(self) -> list[str]:
        """Say it in the order in which a planner wants to read it: what is unsafe first."""
        said = [("!! " if one["level"] == "alarm" else " ! ") + say_shout(one) for one in self.shouts]
        counts = {"fresh": self.placed_anew, "moved": self.moved, "without": self.without_place}
        said.append(say(Sentence.of("day.placed", count=self.placed, **counts)))
        said += [f" > {say_kept([one])}" for one in self.cleared[:SHOUTED_NUMBERS]]
        more = len(self.cleared) - SHOUTED_NUMBERS
        if more > 0:
            said.append(f" > {say(Sentence.of('day.more_cleared', count=more))}")
        if self.left_out:
            said.append(say(Sentence.of("day.left_out", count=self.left_out)))
        numbers = ", ".join(self.raised[:SHOUTED_NUMBERS]) + (" …" if len(self.raised) > SHOUTED_NUMBERS else "")
        numbers = f" ({numbers})" if numbers else ""
        counts = {"count": len(self.raised), "following": self.following}
        said.append(say(Sentence.of("day.raised", numbers=numbers, **counts)))
        if self.missed:
            said.append(say(Sentence.of("day.missed", count=self.missed)))
        waiting = Sentence.of("day.waiting_for_parts", count=self.waiting_for_parts)
        to_order = Sentence.of("day.to_order", count=self.to_order)
        said += [say_kept([one]) for one in self.waiting]
        return [*said, say(Sentence.of("day.short", clauses=(waiting, to_order)))]


def say_shout(kept: Mapping[str, Any]) -> str:
    """Say what a run kept as to be said aloud; earlier versions kept text."""
    return say_kept([kept["said"]]) if "said" in kept else str(kept["text"])


def run_day(
    day: date | None = None, *, progress: Progress | None = None, by: User | None = None, is_dry: bool = False
) -> DaySummary:
    """Work out the day and keep what it found; a second run changes nothing more.

    A dry run does all the same and takes it back. Raises PermissionDenied for a user who may not run the day, and
    Mill.DoesNotExist before a mill was loaded.
    """
    require(by, "run the day")
    mill = Mill.objects.current()
    today = clock.today(mill.zone)
    the_day = day or today
    now_at = clock.now() if the_day == today else clock.start_of_day(the_day, mill.zone)
    if not is_dry:
        return _run(the_day, now_at, progress)
    with transaction.atomic():
        summary = _run(the_day, now_at, progress)
        transaction.set_rollback(True)
    return summary


def _run(day: date, now_at: datetime, progress: Progress | None) -> DaySummary:
    summary = DaySummary(day=day.isoformat())
    record = DayRun.objects.create(day=day, started_at=clock.now())
    steps: tuple[tuple[Sentence, Callable[[], None]], ...] = (
        (Sentence.of("day.what_recurs"), lambda: _take_rolled(summary, roll(day))),
        (Sentence.of("day.parts"), _refresh_readiness),
        (Sentence.of("day.places"), lambda: _place(summary, now_at)),
        (Sentence.of("day.orders"), lambda: _take_advice(summary, day)),
        (Sentence.of("day.prices"), lambda: _take_prices(summary)),
        (Sentence.of("day.late"), lambda: summary.shout(late_proof_tests(day))),
    )
    for done, (name, step) in enumerate(steps):
        if progress:
            progress(done, len(steps), name)
        step()
    if progress:
        progress(len(steps), len(steps))
    record.finished_at = clock.now()
    record.summary = asdict(summary)
    record.save(update_fields=["finished_at", "summary"])
    return summary


def _take_rolled(summary: DaySummary, rolled: Rolled) -> None:
    summary.raised = [order.number for order in rolled.raised]
    summary.following, summary.missed = rolled.following, rolled.missed
    summary.shout(
        Shout(
            "alarm" if trouble.task.is_safety else "mind",
            Sentence.of("day.not_followed", task=str(trouble.task), why=typed(trouble.why)),
        )
        for trouble in rolled.troubles
    )


def _refresh_readiness() -> None:
    with transaction.atomic():
        Mill.objects.select_for_update().get()
        update_readiness(WorkOrder.objects.filter(state__in=[WorkOrder.State.RAISED, WorkOrder.State.READY]))


@transaction.atomic
def _place(summary: DaySummary, now_at: datetime) -> None:
    """Give places and lock-outs in one piece: at no time does a job stand without the lock-out it had."""
    _take_placed(summary, place_all(now_at))
    for order in WorkOrder.objects.pins_lost():
        said = Sentence.of("day.pin_lost", job=order.number, kiln=order.kiln.tag, why=order.pin_lost_why)
        summary.shout([Shout("alarm" if order.is_safety else "mind", said, order.number)])


def _take_placed(summary: DaySummary, placed: Placed) -> None:
    summary.placed, summary.placed_anew, summary.moved = placed.placed, placed.fresh, placed.moved
    summary.left_out = placed.left_out
    summary.without_place, summary.waiting_for_parts = placed.without_place, placed.waiting_for_parts
    summary.shout(placed.shouts)
    summary.clear(placed.cleared)


def _take_prices(summary: DaySummary) -> None:
    """Say what waiting costs a day, and how much of that nobody knows."""
    orders = list(WorkOrder.objects.unfinished())
    costs = together(sure_of_orders(orders).values())
    unpriced = sum(order.is_cost_unknown for order in orders)
    summary.waiting = all_to_json(day_told(costs.total, costs.assumption, unpriced))


def _take_advice(summary: DaySummary, day: date) -> None:
    with transaction.atomic():
        Mill.objects.select_for_update().get()
        summary.to_order = refresh_advice(day)
