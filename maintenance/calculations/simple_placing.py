"""Place jobs into openings by a simple rule: the most urgent job first, each into the first window that takes it.

Safety work goes before all other, by safety date; then the earliest due; of equals the one whose
delay costs most. A job takes the earliest time at which a window of its kiln is in the right state,
long enough, its parts are there, and a qualified crew is on shift and free. Jobs of one window share
it one after another, or side by side with different people as long as not too many are inside.

A due date is a wish: work that cannot meet it is placed as early as possible and says how late it is.
A safety date that cannot be kept is shouted about; the nearest opening is held for the job all the same,
because an empty place would help nobody. This rule looks at one job at a time and proves nothing about cost.
"""

from __future__ import annotations

import heapq
import sys
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from .placing_problem import (
    SERVED_BY,
    Cause,
    Interval,
    JobToPlace,
    NotPlaced,
    Placement,
    PlacingProblem,
    Shout,
    SimplePlan,
    Window,
    refuse_faulty,
)

FAR_AHEAD = datetime.max.replace(tzinfo=UTC)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: The state a job needs -> what the times that serve it are called: one, many.
TIMES = {
    "empty": ("opening", "openings"),
    "running": ("running phase", "running phases"),
    "still": ("stop or opening", "stops or openings"),
    "any": ("stretch of shifts", "stretches of shifts"),
}
#: The state of a kiln -> what a time in that state is called.
TIME = {"empty": "opening", "running": "running phase", "still": "stop"}
#: Why a window does not take a job, the closest miss last: that window is named as the nearest.
MISSES = ("too short", "over too early", "too crowded", "no crew free")
#: How a miss is said of the window itself.
MISSED = {
    "too short": "is too short",
    "over too early": "is over before it may start",
    "too crowded": "would have too many people inside",
    "no crew free": "finds no crew on shift and free",
}
#: At most so many windows that were passed over are named in a reason.
NAMED_WINDOWS = 3

Urgency = tuple[bool, datetime, datetime, int | Fraction, str]
Crew = tuple[tuple[str, str], ...]


def place_jobs(problem: PlacingProblem) -> SimplePlan:
    """Place jobs into windows, each into the first that takes it.

    Parameters
    ----------
    problem : PlacingProblem
        windows, jobs and people in any order; `fixed` are places to keep as long as they still hold

    Returns
    -------
    SimplePlan
        each job once, placed or not, by start and by ref; a shout for each safety date not kept

    Raises
    ------
    ValueError
        when the problem makes no sense; the message names the place

    Notes
    -----
    Deterministic: the order of windows, jobs and people plays no part, refs decide between equals.
    The start found for a job is the earliest there is with everything placed before it: such a start
    lies at the begin of the window, of a person's free time, or at the end of another job.
    """
    refuse_faulty(problem)
    return _Placing(problem).run()


@dataclass(frozen=True)
class _Miss:
    """A window that does not take a job, and why."""

    window: Window
    why: str


class _Placing:
    """The state of one run: what is booked so far."""

    def __init__(self, problem: PlacingProblem) -> None:
        self.zone = ZoneInfo(problem.zone)
        self.jobs = {job.ref: job for job in sorted(problem.jobs, key=lambda job: job.ref)}
        self.workers = {w.ref: w for w in sorted(problem.workers, key=lambda w: (len(w.skills), w.ref))}
        self.windows = sorted(problem.windows, key=lambda w: (w.start_at, w.end_at, w.ref))
        self.window_by_ref = {window.ref: window for window in self.windows}
        self.free = {ref: _cut(merged(w.duty), (*w.away, *w.busy)) for ref, w in self.workers.items()}
        self.inside: dict[str, list[tuple[datetime, datetime, int, int]]] = {}
        for one in problem.inside:
            # It sets no limit of its own: the window's holds.
            self.inside.setdefault(one.kiln, []).append((one.start_at, one.end_at, one.people, sys.maxsize))
        self.fixed = sorted(problem.fixed, key=lambda p: (p.start_at, p.job_ref))
        self.placed: dict[str, Placement] = {}
        self.not_placed: dict[str, NotPlaced] = {}
        self.horizon_at = max((end_at for duty in self.free.values() for _, end_at in duty), default=None)

    def run(self) -> SimplePlan:
        given_up: dict[str, tuple[Placement, str]] = {}
        for placement in self.fixed:
            fault = self._fault_of_fixed(placement)
            if fault:
                given_up[placement.job_ref] = (placement, f"Moved from {self._when(placement.start_at)}: {fault}. ")
            else:
                job = self.jobs[placement.job_ref]
                self._book(job, replace(placement, late_minutes=_late_minutes(job, placement.end_at)))
        for job in self._by_urgency():
            if job.ref not in self.placed:
                self._place(job, given_up.get(job.ref))
        self._give_up_circles()
        placements = sorted(self.placed.values(), key=lambda p: (p.start_at, p.job_ref))
        not_placed = [self.not_placed[ref] for ref in sorted(self.not_placed)]
        return SimplePlan(tuple(placements), tuple(not_placed), tuple(self._shouts()))

    # --- order -----------------------------------------------------------------------------------

    def _by_urgency(self) -> Iterable[JobToPlace]:
        """Yield the most urgent job whose forerunners have been dealt with; jobs in a circle never come."""
        urgency = self._urgencies()
        waiting = {ref: {a for a in job.after if a in self.jobs} for ref, job in self.jobs.items()}
        heap = [urgency[ref] for ref, forerunners in waiting.items() if not forerunners]
        heapq.heapify(heap)
        keys = {key: ref for ref, key in urgency.items()}
        while heap:
            ref = keys[heapq.heappop(heap)]
            yield self.jobs[ref]
            for follower, forerunners in waiting.items():
                if ref in forerunners:
                    forerunners.discard(ref)
                    if not forerunners:
                        heapq.heappush(heap, urgency[follower])

    def _urgencies(self) -> dict[str, Urgency]:
        """A forerunner is as urgent as the most urgent job that waits for it."""
        urgency = {ref: _urgency(job) for ref, job in self.jobs.items()}
        changed = True
        while changed:
            changed = False
            for ref, job in self.jobs.items():
                for forerunner in job.after:
                    if forerunner in urgency and urgency[ref][:-1] < urgency[forerunner][:-1]:
                        urgency[forerunner] = (*urgency[ref][:-1], forerunner)
                        changed = True
        return urgency

    def _give_up_circles(self) -> None:
        for ref, job in self.jobs.items():
            if ref not in self.placed and ref not in self.not_placed:
                others = ", ".join(job.after)
                cause = Cause("circle", f"Waits for {others}, which in turn waits for it.", "Undo one of the links.")
                self.not_placed[ref] = NotPlaced(ref, (cause,))

    # --- one job ---------------------------------------------------------------------------------

    def _place(self, job: JobToPlace, given_up: tuple[Placement, str] | None) -> None:
        cause = self._waits_in_vain(job) or self._lacks_people(job)
        if cause:
            self.not_placed[job.ref] = NotPlaced(job.ref, (cause,))
            return
        ready_at = self._ready_at(job)
        misses: list[_Miss] = []
        for window in self._windows_for(job, ready_at):
            found = self._fit(job, window, ready_at)
            if isinstance(found, Placement):
                reason = self._reason(job, window, found, misses)
                if given_up and given_up[0].start_at != found.start_at:
                    reason = given_up[1] + reason
                late_minutes = _late_minutes(job, found.end_at)
                self._book(job, replace(found, reason=reason, late_minutes=late_minutes))
                return
            misses.append(found)
        self.not_placed[job.ref] = self._explain(job, misses, ready_at)

    def _windows_for(self, job: JobToPlace, ready_at: datetime) -> list[Window]:
        if job.needs_state != "any":
            return [w for w in self.windows if w.kiln == job.kiln and w.state in SERVED_BY[job.needs_state]]
        # work at any time ends where the known shifts end; work that needs nobody has no such end
        end_at = self.horizon_at if job.crew else ready_at + timedelta(minutes=job.duration_minutes)
        if end_at is None or end_at <= job.earliest_at:
            return []
        return [Window("", job.kiln, "running", job.earliest_at, end_at, "at any time")]

    def _ready_at(self, job: JobToPlace) -> datetime:
        instants = [job.earliest_at, *(self.placed[ref].end_at for ref in job.after)]
        return max(instants if job.parts_at is None else [*instants, job.parts_at])

    def _fit(self, job: JobToPlace, window: Window, ready_at: datetime) -> Placement | _Miss:
        """Find the earliest start in one window."""
        duration = timedelta(minutes=job.duration_minutes)
        if window.work_from_at + duration > window.work_to_at:
            return _Miss(window, "too short")
        first_at, last_at = max(window.work_from_at, ready_at), window.work_to_at - duration
        if first_at > last_at:
            return _Miss(window, "over too early")
        roomy = False
        for start_at in self._starts(job, first_at, last_at):
            end_at = start_at + duration
            if job.needs_state in ("empty", "still") and self._is_crowded(job, window, start_at, end_at):
                continue
            roomy = True
            crew = self._crew(job, start_at, end_at)
            if crew is not None:
                return Placement(job.ref, start_at, end_at, window.ref, crew)
        return _Miss(window, "no crew free" if roomy else "too crowded")

    def _starts(self, job: JobToPlace, first_at: datetime, last_at: datetime) -> list[datetime]:
        """Instants at which an earliest start can lie; see the notes of `place_jobs`."""
        starts = {first_at}
        for ref, worker in self.workers.items():
            if not job.crew.keys().isdisjoint(worker.skills):
                starts.update(start for start, _ in self.free[ref] if first_at < start <= last_at)
        starts.update(end for _, end, _, _ in self.inside.get(job.kiln, ()) if first_at < end <= last_at)
        return sorted(starts)

    def _is_crowded(self, job: JobToPlace, window: Window, start_at: datetime, end_at: datetime) -> bool:
        others = [other for other in self.inside.get(job.kiln, ()) if other[0] < end_at and start_at < other[1]]
        own = sum(job.crew.values())
        limit = min([window.max_people_inside, *(other[3] for other in others)])
        moments = [start_at, *(other[0] for other in others if other[0] > start_at)]
        most = max(sum(count for start, end, count, _ in others if start <= at < end) for at in moments)
        return own + most > limit

    def _crew(self, job: JobToPlace, start_at: datetime, end_at: datetime) -> Crew | None:
        """Match persons to the skills wanted, those with the fewest skills first; None where it cannot be done."""
        on = end_at.astimezone(self.zone).date()
        slots = [skill for skill in sorted(job.crew) for _ in range(job.crew[skill])]
        able = {ref: w for ref, w in self.workers.items() if _holds(self.free[ref], start_at, end_at)}
        choices = {
            skill: [ref for ref, w in able.items() if skill in w.skills and (w.skills[skill] or on) >= on]
            for skill in job.crew
        }
        taken: dict[str, int] = {}
        for slot in range(len(slots)):
            if not _seat(slot, slots, choices, taken, set()):
                return None
        return tuple(sorted((ref, slots[slot]) for ref, slot in taken.items()))

    def _book(self, job: JobToPlace, placement: Placement) -> None:
        self.placed[job.ref] = placement
        for ref, _ in placement.people:
            self.free[ref] = _cut(self.free[ref], [(placement.start_at, placement.end_at)])
        if job.needs_state in ("empty", "still"):
            limit = self.window_by_ref[placement.window_ref].max_people_inside
            entry = (placement.start_at, placement.end_at, len(placement.people), limit)
            self.inside.setdefault(job.kiln, []).append(entry)

    # --- places to keep --------------------------------------------------------------------------

    def _fault_of_fixed(self, placement: Placement) -> str:
        """Say why an earlier placement no longer holds, or nothing."""
        job = self.jobs[placement.job_ref]
        if placement.end_at - placement.start_at != timedelta(minutes=job.duration_minutes):
            return "the job lasts longer or shorter now"
        if any(ref not in self.placed or self.placed[ref].end_at > placement.start_at for ref in job.after):
            return "what must be done before it is not"
        if placement.start_at < self._ready_at(job):
            return "it may not start so early, or its parts come later"
        if job.latest_at is not None and placement.end_at > job.latest_at:
            return "it misses the safety date"
        return self._window_fault(job, placement) or self._crew_fault(job, placement)

    def _window_fault(self, job: JobToPlace, placement: Placement) -> str:
        if job.needs_state == "any":
            return "it needs no opening" if placement.window_ref else ""
        window = self.window_by_ref.get(placement.window_ref)
        if window is None or window.kiln != job.kiln or window.state not in SERVED_BY[job.needs_state]:
            return "the opening is gone"
        if placement.start_at < window.work_from_at or placement.end_at > window.work_to_at:
            return "the opening has shifted"
        if job.needs_state != "running" and self._is_crowded(job, window, placement.start_at, placement.end_at):
            return "too many people would be inside"
        return ""

    def _crew_fault(self, job: JobToPlace, placement: Placement) -> str:
        people = [ref for ref, _ in placement.people]
        if Counter(skill for _, skill in placement.people) != Counter(dict(job.crew)) or len(set(people)) < len(people):
            return "it needs another crew"
        on = placement.end_at.astimezone(self.zone).date()
        for ref, skill in placement.people:
            worker = self.workers.get(ref)
            if worker is None or skill not in worker.skills or (worker.skills[skill] or on) < on:
                return f"{worker.name if worker else ref} is not qualified for {skill}"
            if not _holds(self.free[ref], placement.start_at, placement.end_at):
                return f"{worker.name} is not free then"
        return ""

    # --- words -----------------------------------------------------------------------------------

    def _when(self, instant: datetime) -> str:
        local = instant.astimezone(self.zone)
        return f"{local.day} {MONTHS[local.month - 1]} {local:%H:%M}"

    def _named(self, window: Window) -> str:
        label = f" ({window.label})" if window.label else ""
        return f"{window.kiln} {self._when(window.start_at)} to {self._when(window.end_at)}{label}"

    def _reason(self, job: JobToPlace, window: Window, placement: Placement, misses: list[_Miss]) -> str:
        where = f"first {TIME[window.state]} that takes it, {self._named(window)}" if window.ref else "earliest time"
        people = ", ".join(self.workers[ref].name for ref, _ in placement.people)
        words = f"The {where}" + (f", with {people} on shift and free." if people else ".")
        if misses:
            named = "; ".join(
                f"{self._when(miss.window.start_at)} {MISSED[miss.why]}" for miss in misses[:NAMED_WINDOWS]
            )
            more = f"; and {len(misses) - NAMED_WINDOWS} more" if len(misses) > NAMED_WINDOWS else ""
            words += f" Passed over: {named}{more}."
        wanted_at, name = (job.latest_at, "safety date") if job.is_safety_work else (job.due_at, "due date")
        if wanted_at is None:
            return words
        return f"{words} {self._how_early(placement.end_at, wanted_at, name)}"

    def _how_early(self, end_at: datetime, wanted_at: datetime, name: str) -> str:
        """Count in days of the calendar, as dates are counted."""
        days = (wanted_at.astimezone(self.zone).date() - end_at.astimezone(self.zone).date()).days
        if not days:
            late = _span(end_at - wanted_at) if end_at > wanted_at else ""
            return f"Done {late} after its {name}." if late else f"Done on its {name}."
        apart = "1 day" if abs(days) == 1 else f"{abs(days)} days"
        return f"Done {apart} {'before' if days > 0 else 'after'} its {name}."

    def _waits_in_vain(self, job: JobToPlace) -> Cause | None:
        for ref in job.after:
            if ref not in self.jobs:
                return Cause("before", f"Waits for {ref}, which is not among the jobs.", f"Undo the link to {ref}.")
            if ref not in self.placed:
                return Cause("before", f"Waits for {ref}, which has no place.", f"Find a place for {ref} first.")
        return None

    def _lacks_people(self, job: JobToPlace) -> Cause | None:
        """Say which skill the mill has too few of, whenever the job is done."""
        on = job.earliest_at.astimezone(self.zone).date()
        for skill, count in sorted(job.crew.items()):
            until = {w.name: w.skills[skill] for w in self.workers.values() if skill in w.skills}
            lapsed = {name: last_on for name, last_on in until.items() if last_on is not None and last_on < on}
            if len(until) - len(lapsed) < count:
                ends = "".join(f"; {name}'s lasts until {_day(last_on)}" for name, last_on in lapsed.items())
                words = (
                    f"Needs {count} qualified for {skill}; from {_day(on)} on, when it may start, "
                    f"{len(until) - len(lapsed)} are{ends}."
                )
                remedy = (
                    f"Renew the qualification of {' or '.join(lapsed)}." if lapsed else f"Train somebody for {skill}."
                )
                return Cause("qualification", words, remedy)
        return None

    def _explain(self, job: JobToPlace, misses: list[_Miss], ready_at: datetime) -> NotPlaced:
        if not misses:
            if job.needs_state == "any":
                cause = Cause("no opening", "No shift is known.", "Put people on shifts.")
            else:
                words = f"No {TIMES[job.needs_state][0]} of {job.kiln} is known."
                cause = Cause("no opening", words, "Extend the charge programme, or stop the kiln.")
            return NotPlaced(job.ref, (cause,))
        nearest = max(misses, key=lambda m: (MISSES.index(m.why), m.window.work_to_at - m.window.work_from_at)).window
        counts = Counter(miss.why for miss in misses)
        causes = [self._cause(job, why, counts[why], misses, ready_at) for why in MISSES if counts[why]]
        return NotPlaced(job.ref, tuple(causes), nearest if nearest.ref else None)

    def _cause(self, job: JobToPlace, why: str, count: int, misses: list[_Miss], ready_at: datetime) -> Cause:
        one, many = TIMES[job.needs_state]
        times = f"1 {one}" if count == 1 else f"{count} {many}"
        needed = _span(timedelta(minutes=job.duration_minutes))
        if why == "too short":
            longest = max(m.window.work_to_at - m.window.work_from_at for m in misses if m.why == why)
            found = _span(max(longest, timedelta(0)))
            return Cause(
                why,
                f"{times} too short: it needs {needed}, the longest has {found}.",
                "Lengthen one or split the job.",
            )
        if why == "over too early":
            late_parts = job.parts_at is not None and job.parts_at >= ready_at
            because = "its parts arrive" if late_parts else "it may start"
            remedy = (
                "Bring the parts forward." if late_parts else "Let it start earlier, or extend the charge programme."
            )
            return Cause(why, f"{times} over too early: {because} on {self._when(ready_at)}.", remedy)
        if why == "too crowded":
            return Cause(why, f"{times} with too many people inside.", "Take a smaller crew, or move another job.")
        skills = ", ".join(f"{n} {skill}" for skill, n in sorted(job.crew.items()))
        able = [w for w in self.workers.values() if not job.crew.keys().isdisjoint(w.skills)]
        longest = max((end - start for w in able for start, end in merged(w.duty)), default=timedelta(0))
        if timedelta(0) < longest < timedelta(minutes=job.duration_minutes):
            words = f"It needs {needed} without a break ({skills}); the longest shift has {_span(longest)}."
            return Cause(
                why, words, "Ask for it as several jobs that each fit a shift, or put people on longer shifts."
            )
        return Cause(
            why,
            f"{times} without a free crew on shift for {needed} ({skills}).",
            f"Put on shift or free one of {', '.join(sorted(w.name for w in able))}.",
        )

    def _shouts(self) -> Iterable[Shout]:
        """Say loudly which safety work is not done in time."""
        for ref, job in self.jobs.items():
            if job.is_safety_work:
                late_minutes = self.placed[ref].late_minutes if ref in self.placed else None
                if late_minutes is None:
                    yield self._shout_without_place(job, self.not_placed[ref])
                elif late_minutes:
                    yield self._shout_late(job, self.placed[ref])

    def _shout_without_place(self, job: JobToPlace, answer: NotPlaced) -> Shout:
        wanted = f" before its safety date {self._when(job.latest_at)}" if job.latest_at else ""
        causes = " ".join(f"{cause.words} {cause.remedy}" for cause in answer.causes)
        near = f" Nearest: {self._named(answer.nearest)}." if answer.nearest else ""
        words = (
            f"{job.ref} on {job.kiln} is safety work and has no place{wanted}. {causes}{near} "
            f"Keep {job.kiln} out of use from that day until the work is done."
        )
        return Shout(job.ref, words, answer.nearest, None)

    def _shout_late(self, job: JobToPlace, placement: Placement) -> Shout:
        window = self.window_by_ref.get(placement.window_ref)
        near = self._named(window) if window else self._when(placement.start_at)
        words = (
            f"{job.ref} on {job.kiln} is safety work and misses its safety date by "
            f"{_span(timedelta(minutes=placement.late_minutes))}: the nearest place, held for it, is {near}. "
            f"Stop {job.kiln} earlier, or keep it out of use from that day until the work is done."
        )
        return Shout(job.ref, words, window, placement.late_minutes)


def _urgency(job: JobToPlace) -> Urgency:
    return (
        not job.is_safety_work,
        job.latest_at or FAR_AHEAD,
        job.due_at or FAR_AHEAD,
        -job.delay_cents_per_hour,
        job.ref,
    )


def _late_minutes(job: JobToPlace, end_at: datetime) -> int:
    """Minutes past the safety date of safety work, past the due date of other work; a started minute counts."""
    wanted_at = job.latest_at if job.is_safety_work else job.due_at
    return 0 if wanted_at is None else max(0, -((wanted_at - end_at) // timedelta(minutes=1)))


def _seat(slot: int, slots: list[str], choices: dict[str, list[str]], taken: dict[str, int], asked: set[str]) -> bool:
    """Give a slot a person, moving others to their second choice where that helps (augmenting path)."""
    for ref in choices[slots[slot]]:
        if ref not in asked:
            asked.add(ref)
            if ref not in taken or _seat(taken[ref], slots, choices, taken, asked):
                taken[ref] = slot
                return True
    return False


def merged(intervals: Iterable[Interval]) -> list[Interval]:
    """Join intervals that touch or overlap: a shift that follows another is one stretch of duty."""
    found: list[Interval] = []
    for start_at, end_at in sorted(intervals):
        if found and start_at <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end_at))
        else:
            found.append((start_at, end_at))
    return found


def _cut(intervals: Iterable[Interval], holes: Iterable[Interval]) -> list[Interval]:
    """Take the holes out of sorted intervals."""
    left = list(intervals)
    for hole_start, hole_end in holes:
        pieces = []
        for start_at, end_at in left:
            if hole_end <= start_at or end_at <= hole_start:
                pieces.append((start_at, end_at))
                continue
            pieces += [(start_at, hole_start)] if start_at < hole_start else []
            pieces += [(hole_end, end_at)] if hole_end < end_at else []
        left = pieces
    return left


def _holds(intervals: list[Interval], start_at: datetime, end_at: datetime) -> bool:
    """Whether one of the sorted, separate intervals covers the whole stretch."""
    index = bisect_right(intervals, start_at, key=lambda interval: interval[0]) - 1
    return index >= 0 and intervals[index][1] >= end_at


def _span(length: timedelta) -> str:
    """Name a length of time as people do: days from two days on, else hours and minutes."""
    minutes = -(-length // timedelta(minutes=1))
    if minutes >= 2 * 24 * 60:
        return f"{minutes // (24 * 60)} days"
    hours, minutes = divmod(minutes, 60)
    return " ".join([f"{hours} h"] * (hours > 0) + [f"{minutes} min"] * (minutes > 0 or hours == 0))


def _day(on: date) -> str:
    return f"{on.day} {MONTHS[on.month - 1]} {on.year}"
