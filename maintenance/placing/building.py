"""Build a plan kiln by kiln: each exactly, with the people that are left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from .frame import Frame
from .inserting import fill_kiln
from .state import State, state_of
from .tasks import Found, Task, busy_elsewhere, task_of

KILNS_BETWEEN_MARKS = 5


class Building:
    """A plan that grows by one kiln at a time, the one of most weight first."""

    def __init__(self, frame: Frame, weight: Callable[[int], int], needs_floors: bool = False) -> None:
        self.frame, self.weight, self.needs_floors = frame, weight, needs_floors
        self.state = State(frame)
        self.settled = {kiln for kiln, jobs in enumerate(frame.jobs_of) if not jobs}
        self.kiln: int | None = None
        self.number = 0

    @property
    def is_waiting(self) -> bool:
        """Whether a kiln is being solved."""
        return self.kiln is not None

    @property
    def is_complete(self) -> bool:
        """Whether every kiln is settled."""
        return len(self.settled) == len(self.frame.kilns)

    def next_task(self) -> Task:
        """Make the task of the next kiln, with what is settled held."""
        self.kiln = kiln = max(set(range(len(self.frame.kilns))) - self.settled, key=self.weight)
        tried = state_of(self.frame, self.state.at, self.state.stops)
        if tried is not None:
            fill_kiln(tried, kiln)
            if self.frame.must & set(self.frame.jobs_of[kiln]) <= tried.at.keys():
                # A plan by rule of thumb to begin with: what costs more need not be looked at.
                return replace(task_of(tried, [kiln]), settled=frozenset(self.settled))
        return Task(
            kilns=(kiln,),
            free=frozenset(self.frame.jobs_of[kiln]),
            at=dict(self.state.at),
            stops={},
            starts={},
            busy=busy_elsewhere(self.state, {kiln}),
            price=None,
            settled=frozenset(self.settled),
        )

    @property
    def is_at_a_mark(self) -> bool:
        """Whether it is time to see what this comes to: every so many kilns."""
        return len(self.settled) % KILNS_BETWEEN_MARKS == 0

    def completed(self) -> State | None:
        """Place the kilns that are left by rule of thumb, for as long as there is no better."""
        state = state_of(self.frame, self.state.at, self.state.stops)
        left = set(range(len(self.frame.kilns))) - self.settled
        for kiln in sorted(left, key=self.weight, reverse=True):
            if state is not None:
                fill_kiln(state, kiln)
        return state

    def add(self, found: Found) -> bool:
        """Settle the kiln that was solved; False where it has no plan with what is settled, so that this way ends."""
        kiln, self.kiln = self.kiln, None
        if kiln is None or found.at is None:
            return False
        stops = list(self.state.stops)
        stops[kiln] = found.stops[kiln]
        state = state_of(self.frame, {**self.state.at, **found.at}, stops)
        if state is None or not state.is_free_of_clashes():
            return False
        self.state = state
        self.settled.add(kiln)
        return True
