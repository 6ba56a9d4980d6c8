"""Place every job that may be placed: the day's work, and whoever asks for it anew."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import transaction

from maintenance.frame.shouts import Shout
from maintenance.models import WorkOrder
from maintenance.orders.supply import keep_needs_in_step
from maintenance.placing.inserting import Inserting
from maintenance.placing.offering import best_offer
from maintenance.placing.state import State
from maintenance.plans.accepting import Accepted, keep
from maintenance.plans.desk import Desk, has_place, load_desk
from maintenance.plans.drawing import places
from maintenance.plans.lock_outs import keep_lock_outs, shout_nobody_locks_out
from maintenance.plans.places import end_pin, take_place_away
from maintenance.plans.places import given_up as given_up_place
from maintenance.plans.standing import Standing, standing_on
from maintenance.plans.why import say_no_place
from plant.basics.sentences import Sentence, Sentences
from plant.models import Mill


@dataclass(frozen=True)
class Cleared:
    """A place that no longer held: why, and when the job is done instead; None where it has no place now.

    A place that was given by hand stays: the planner decides.
    """

    number: str
    was_at: datetime
    why: Sentences
    now_at: datetime | None
    is_safety: bool = False
    stays: bool = False
    #: Somebody had given it by hand.
    was_kept: bool = False

    @property
    def told(self) -> Sentence:
        """What became of it."""
        facts = {"job": self.number, "was_at": self.was_at, "why": self.why}
        if self.stays:
            return Sentence.of("cleared.stays", **facts)
        if self.now_at is None:
            return Sentence.of("cleared.none", **facts)
        if self.now_at == self.was_at:
            return Sentence.of("cleared.others", **facts)
        return Sentence.of("cleared.moved", **facts, now_at=self.now_at)


@dataclass(frozen=True)
class Placed:
    """What placing all jobs came to."""

    placed: int
    fresh: int
    moved: int
    without_place: int
    left_out: int
    waiting_for_parts: int
    shouts: tuple[Shout, ...]
    cleared: tuple[Cleared, ...] = ()


@transaction.atomic
def place_all(now_at: datetime) -> Placed:
    """Place every job that may be placed, most urgent first, each where it adds least; lock-outs are given to people.

    Places that still hold are kept. One that does not is given up; what was given by hand stays all the same until its
    time is over. No charge is moved or interrupted for it.
    """
    Mill.objects.select_for_update().get()
    desk = load_desk(now_at)
    standing = standing_on(desk)
    stays, given_up = _sort_out(desk, standing)
    for ref, one in given_up.items():
        if one.was_kept:
            end_pin(desk.orders[ref], one.why)
    state, found, missing = _place(desk, standing, stays)
    after = Standing(standing.drawn, state)
    if new := set(after.broken) - set(standing.broken):
        raise RuntimeError(f"What was placed breaks rules: {', '.join(sorted(map(str, new)))}")
    accepted, now = Accepted(), places(after.drawn, after.plan)
    for ref in found:
        first = _say_given_up(given_up.get(ref))
        keep(desk, after, now[ref], accepted, by=None, first=first)
    without = {ref: why for ref, why in _aside(desk, after).items() if ref not in stays}
    without |= {ref: say_no_place(after, ref) for ref in missing}
    for ref, why in without.items():
        take_place_away(desk.orders[ref], (*_say_given_up(given_up.get(ref)), *why), by=None)
    keep_lock_outs(desk, after.drawn, after.plan)
    keep_needs_in_step(desk.to_place.values())
    cleared = [replace(one, now_at=now[ref].start_at if ref in now else None) for ref, one in given_up.items()]
    cleared += stays.values()
    return Placed(
        placed=len(after.plan.jobs) + len(stays) + len(desk.in_hand & desk.to_place.keys()),
        fresh=len(accepted.placed),
        moved=len(accepted.moved),
        without_place=len(without),
        left_out=len(desk.left_out),
        waiting_for_parts=sum(1 for order in desk.to_place.values() if desk.short.get(order.pk)),
        shouts=tuple(_shouts(desk, after, without)),
        cleared=tuple(sorted(cleared, key=lambda one: one.number)),
    )


def _aside(desk: Desk, standing: Standing) -> dict[str, Sentences]:
    """Return the jobs that might be placed and that no plan can take up, with why."""
    apart = desk.in_hand | desk.left_out
    return {ref: why for ref, why in standing.drawn.aside.items() if ref in desk.to_place and ref not in apart}


def _say_given_up(one: Cleared | None) -> Sentences:
    return () if one is None else (given_up_place(one.was_at, one.why),)


def _sort_out(desk: Desk, standing: Standing) -> tuple[dict[str, Cleared], dict[str, Cleared]]:
    """Sort the places that no longer hold: those that stay as they were given by hand, and those given up."""
    stays: dict[str, Cleared] = {}
    given_up: dict[str, Cleared] = {}
    for ref, why in standing.failing.items():
        order = desk.orders[ref]
        placed = order.placement
        # A pin ends with its time: what was not done then needs another place.
        is_kept = placed.is_pinned and placed.end_at > desk.now_at
        one = Cleared(
            ref,
            placed.start_at,
            why,
            placed.start_at if is_kept else None,
            is_safety=order.is_safety,
            stays=is_kept,
            was_kept=placed.is_pinned,
        )
        (stays if is_kept else given_up)[ref] = one
    return stays, given_up


def _place(desk: Desk, standing: Standing, stays: dict[str, Cleared]) -> tuple[State, list[str], list[str]]:
    """Give each job without a place the one that adds least; return who has one now, and who has not."""
    state, frame = standing.state.copy(), standing.frame
    for ref in stays:
        _hold_people(standing, state, desk.orders[ref])
    found, missing = [], []
    wanting = [job for job, of in enumerate(frame.jobs) if of.ref not in stays and job not in state.at]
    for job in sorted(wanting, key=lambda job: _urgency(standing, job)):
        best = best_offer(state, job)
        if best is None:
            missing.append(frame.jobs[job].ref)
        else:
            Inserting(state).take(best)
            found.append(frame.jobs[job].ref)
    return state, found, missing


def _hold_people(standing: Standing, state: State, order: WorkOrder) -> None:
    """Whoever has a job that stays although its place does not hold is not sent elsewhere meanwhile."""
    span = (standing.drawn.minute(order.placement.start_at), standing.drawn.minute(order.placement.end_at))
    for given in order.assignments.all():
        person = standing.frame.number_of_person.get(standing.drawn.part_of(given.person_id, span[0]) or "")
        if person is not None and state.is_free(person, *span):
            state.occupy(person, *span)


def _urgency(standing: Standing, job: int) -> tuple[bool, int, int, int, str]:
    """Safety work goes first, by its date; then what is due first; of equals what it costs most to let wait."""
    of = standing.frame.jobs[job]
    is_safety = of.safety or of.late_cents_per_hour > 0
    return not is_safety, of.latest_min if is_safety else 0, of.due_min, -of.delay_parts_per_min, of.ref


# --- what must be said aloud ----------------------------------------------------------------------


def _shouts(desk: Desk, after: Standing, without: dict[str, Sentences]) -> Iterator[Shout]:
    yield from shout_nobody_locks_out(desk)
    for ref, why in sorted(without.items()):
        if desk.orders[ref].latest_at is not None:
            yield Shout("alarm", Sentence.of("shout.no_place", **_facts(desk, ref), why=why), ref)
    for ref, place in sorted(places(after.drawn, after.plan).items()):
        order = desk.orders[ref]
        if order.latest_at is None or place.end_at <= order.latest_at:
            continue
        is_kept, facts = has_place(order) and order.placement.is_pinned, _facts(desk, ref)
        said = Sentence.of("shout.kept_late" if is_kept else "shout.late", **facts, start_at=place.start_at)
        yield Shout("alarm", said, ref)


def _facts(desk: Desk, ref: str) -> dict[str, Any]:
    order = desk.orders[ref]
    return {"job": ref, "kiln": order.kiln.tag, "safe_on": order.latest_at or order.due_at}
