"""Choose which part of a plan is solved anew: where there is most to gain, together with its rivals for people."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable

from .frame import Frame
from .problem import LOCK_OUT
from .state import JobAt, State, Stops

DAY_MIN = 1440
LEAST_JOBS, MOST_JOBS = 14, 90
EASY_SECONDS = 1.0
#: All jobs of a kiln are in the model, even those that stand still.
MOST_KILNS = 16
#: A part that was solved to its end, and the plan has not changed since, is drawn anew so often.
MOST_DRAWS = 8


class Chooser:
    """Draws neighbourhoods; learns how many jobs are solved in the time that is given."""

    def __init__(self, frame: Frame, seed: int) -> None:
        self.frame = frame
        self.chance = random.Random(seed)  # noqa: S311  no secret
        self.size = {"kilns": 30.0, "days": 30.0}
        # Parts in which there is nothing to gain, and how often it was looked for in vain about a kiln.
        self.settled: set[frozenset[int]] = set()
        self.in_vain: dict[int, int] = defaultdict(int)
        self.ideals: dict[int, tuple[dict[int, JobAt], Stops]] = {}

    def learn(self, kind: str, jobs: int, is_proven: bool, cpu_seconds: float) -> None:
        """Larger where the last one was easy, smaller where it was not finished."""
        if not is_proven:
            self.size[kind] = max(LEAST_JOBS, min(self.size[kind], jobs * 1.1) * 0.9)
        elif cpu_seconds < EASY_SECONDS and jobs > 0.7 * self.size[kind]:
            self.size[kind] = min(MOST_JOBS, self.size[kind] * 1.08)

    def heard(self, free: frozenset[int], kilns: Iterable[int], is_proven: bool, is_better: bool) -> None:
        """Note whether a part has brought something, so that the same is not solved again and again."""
        if is_better:
            self.settled.clear()
        for kiln in kilns:
            self.in_vain[kiln] = 0 if is_better else self.in_vain[kiln] + 1
        if is_proven:
            self.settled.add(free)

    def choose(
        self, state: State, floors: dict[int, int], taken: set[int]
    ) -> tuple[str, tuple[int, ...], frozenset[int]] | None:
        """Give kind, kilns and free jobs; where most kilns stay, those that are being solved elsewhere are left alone.

        None where nothing new was drawn: whatever is small enough to be solved has been.
        """
        kilns = range(len(self.frame.kilns))
        if 2 * len(taken) > len(kilns):
            # The few that are left would be solved again and again.
            taken = set()
        excess = {
            kiln: (max(0, state.price_of_kiln(kiln) - floors.get(kiln, 0)) + 1) / (1 + self.in_vain[kiln])
            for kiln in kilns
            if kiln not in taken and self.frame.jobs_of[kiln]
        }
        if not excess:
            return None
        for _ in range(MOST_DRAWS):
            choice = self._draw(state, excess)
            if choice[2] not in self.settled:
                return choice
        # All parts of this size that come to mind are settled.
        self.size = {kind: min(MOST_JOBS, size * 1.3) for kind, size in self.size.items()}
        return None

    def _draw(self, state: State, excess: dict[int, float]) -> tuple[str, tuple[int, ...], frozenset[int]]:
        frame = self.frame
        first = self.chance.choices(list(excess), list(excess.values()))[0]
        if self.chance.random() < 0.7 or len(frame.kilns) < 4:
            kilns = self._rivals(state, first, set(excess))
            return "kilns", kilns, frozenset(job for kiln in kilns for job in frame.jobs_of[kiln])
        return self._days(state, first, set(excess))

    def _wishes(self, state: State, kiln: int) -> list[tuple[int, int, set[str]]]:
        """When the kiln would want people of which skills: where its own best plan differs from what it has.

        Every other time, a span before one of its dear jobs is taken instead.
        """
        frame = self.frame
        ideal = self.ideals.get(kiln)
        if ideal is not None and self.chance.random() < 0.7:
            at, stops = ideal
            wishes = [
                (
                    one.start_min,
                    one.start_min + frame.jobs[job].duration_min,
                    {skill for skill, _ in frame.crew_of[job]},
                )
                for job, one in at.items()
                if job not in state.at or state.at[job].start_min != one.start_min
            ]
            for place, stop in stops.items():
                kept = state.stops[kiln].get(place)
                if kept is None or kept.set_up_start_min != stop.set_up_start_min:
                    wishes.append((*frame.set_up_span(kiln, place, stop.set_up_start_min), {LOCK_OUT}))
            if wishes:
                return self.chance.sample(wishes, min(len(wishes), 3))
        hot = self._hot_job(state, kiln)
        skills = {skill for skill, _ in frame.crew_of[hot]} | {LOCK_OUT} if hot is not None else {LOCK_OUT}
        return [(*self._span(state, hot), skills)]

    def _hot_job(self, state: State, kiln: int) -> int | None:
        """Draw a job of the kiln, by what it costs."""
        frame, prices = self.frame, {}
        for job in frame.jobs_of[kiln]:
            at = state.at.get(job)
            prices[job] = 1 + (frame.leave_out_price(job) if at is None else state.job_price(job, at))
        return self.chance.choices(list(prices), list(prices.values()))[0] if prices else None

    def _span(self, state: State, job: int | None) -> tuple[int, int]:
        """From when the job could be done to when it is done."""
        if job is None:
            return 0, self.frame.problem.horizon_min
        of, at = self.frame.jobs[job], state.at.get(job)
        until = at.start_min + of.duration_min if at is not None else of.due_min
        from_min = max(of.from_min, min(of.due_min, until) - 3 * DAY_MIN)
        return from_min, max(until, from_min + DAY_MIN)

    def _rivals(self, state: State, first: int, allowed: set[int]) -> tuple[int, ...]:
        """Kilns whose jobs have the people that the first kiln would want."""
        frame, size = self.frame, self.size["kilns"]
        score: dict[int, float] = defaultdict(float)
        for from_min, to_min, skills in self._wishes(state, first):
            for job, at in state.at.items():
                kiln = frame.kiln_of[job]
                end_min = at.start_min + frame.jobs[job].duration_min
                if kiln in allowed and kiln != first and max(at.start_min, from_min) < min(end_min, to_min):
                    score[kiln] += sum(bool(skills & frame.people[person].skills) for person, _ in at.crew)
            for kiln in allowed - {first}:
                for stop in state.stops[kiln].values():
                    end_min = stop.set_up_start_min + frame.kilns[kiln].set_up_min
                    if max(stop.set_up_start_min, from_min) < min(end_min, to_min):
                        score[kiln] += bool(skills & frame.people[stop.person].skills)
        others = [kiln for kiln in allowed if kiln != first]
        others.sort(key=lambda kiln: -(score[kiln] + 0.5) * self.chance.random())
        kilns, jobs = [first], len(frame.jobs_of[first])
        for kiln in others:
            if jobs + len(frame.jobs_of[kiln]) <= size or len(kilns) < 2:
                kilns.append(kiln)
                jobs += len(frame.jobs_of[kiln])
        return tuple(sorted(kilns))

    def _days(self, state: State, first: int, allowed: set[int]) -> tuple[str, tuple[int, ...], frozenset[int]]:
        """A dear job with its kiln's others, all jobs of some days before it, and those left out that could be then.

        All others stand still.
        """
        frame, size = self.frame, self.size["days"]
        from_min, to_min = self._span(state, self._hot_job(state, first))
        middle = self.chance.randrange(from_min, to_min)
        near: list[tuple[float, int]] = []
        for job, of in enumerate(frame.jobs):
            if frame.kiln_of[job] not in allowed:
                continue
            at = state.at.get(job)
            if at is not None:
                distance = abs(at.start_min - middle)
            elif of.from_min <= middle:
                distance = abs(of.due_min - middle) // 2
            else:
                continue
            near.append((distance * self.chance.uniform(0.7, 1.0), job))
        near.sort()
        free: set[int] = set(frame.jobs_of[first])
        kilns: set[int] = {first}
        for _, job in near:
            if len(free) < size and (frame.kiln_of[job] in kilns or len(kilns) < MOST_KILNS):
                free.add(job)
                kilns.add(frame.kiln_of[job])
        return "days", tuple(sorted(kilns)), frozenset(free)
