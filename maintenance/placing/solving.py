"""The way to the plan that costs the least: a first plan at once, then better and better ones with a proven bound.

1. The two rules of thumb, and what is issued as far as it still holds; the best one is the first plan.
2. Every kiln apart, with all people free: the sum of these optima is a lower bound, and says where there is to gain.
3. Kiln after kiln is placed exactly, with the people that the kilns before it have taken.
4. Neighbourhoods (a kiln with its rivals for people, a slab of days) are solved anew with everything else held.
5. Where there are few enough jobs, the whole is solved with the plan as a hint, until it is proven best.

Results under a time limit are not repeatable; feasibility, cost and bound are.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from .building import Building
from .frame import PARTS, Frame
from .hopeless import explain_together, find_cannot, find_hopeless, must_task, not_found_in_time
from .inserting import due_date_plan, greedy_plan, put_dearest_anew
from .json_places import Fault
from .neighbourhoods import Chooser
from .pins import faulty_pins
from .plan import Hopeless, Plan, Unfinished
from .problem import Problem
from .standing import issued_plan, state_of_plan
from .state import JobAt, State, Stops, state_of
from .tasks import Found, Task, lost_by_rounding, task_of, whole_task
from .workers import Alone, News, Order, WorkerError, Workers

#: Up to so many jobs the whole is proven.
MOST_JOBS_WHOLE = 150
#: Of the solver's own measure, 0.1 are 1.3 to 3 s of a quiet core.
APART_EFFORT, BUILD_EFFORT, PART_EFFORT, LEAST_SECONDS = 1.0, 0.3, 0.1, 0.05
#: So many parts in a row that bring nothing, before the whole is solved.
PARTS_IN_VAIN = 12
#: With more kilns than this, plans become better while it is still being proven what each kiln costs at least.
MOST_KILNS_FIRST = 24
#: Time kept for the way out of a solve, and for what unfinished parts found.
RESERVE_SECONDS = 0.3
#: So much of the time, and so many seconds at most, are kept to put the dearest jobs of the plan anew at the end.
POLISH_SHARE, POLISH_SECONDS = 0.05, 2.0


@dataclass(frozen=True)
class Progress:
    """How far it is: seconds gone, what the best plan costs, and the proven bound; ``best`` gives that plan."""

    seconds: float
    total_cents: int
    bound_cents: int
    step: str
    cpu_seconds: float
    best: Callable[[], Plan] = field(repr=False, compare=False)

    @property
    def gap(self) -> float:
        """What is left to gain at most, as a share of the cost."""
        return 0.0 if not self.total_cents else (self.total_cents - self.bound_cents) / self.total_cents


@dataclass(frozen=True)
class Answer:
    """The best plan and what the rules of thumb would cost, or what makes every plan impossible.

    `faults` are pins that break a rule; `failure` says why the solver ended early, where it did. Where the time was up
    before every job that must be placed was, `unfinished` is how far it came: nothing is proven impossible then.
    """

    plan: Plan | None
    hopeless: tuple[Hopeless, ...] = ()
    faults: tuple[Fault, ...] = ()
    failure: str = ""
    is_best: bool = False
    due_date_cents: int | None = None
    greedy_cents: int | None = None
    first_seconds: float = 0.0
    best_seconds: float = 0.0
    cpu_seconds: float = 0.0
    unfinished: Unfinished | None = None


Tell = Callable[[Progress], None]
Wish = Callable[[], bool]


def solve(
    problem: Problem,
    seconds: float,
    tell: Tell | None = None,
    wants_stop: Wish | None = None,
    workers: int = 2,
    begin: Plan | None = None,
    seed: int = 0,
) -> Answer:
    """Find the plan that costs the least.

    Parameters
    ----------
    problem : Problem
        what is to be placed, free of faults
    seconds : float
        wall time it may take [s]; a first plan is made even where that takes longer
    tell : callable, optional
        hears of every better plan or bound
    wants_stop : callable, optional
        asked several times a second whether to come to an end
    workers : int
        processes that solve parts; 0: this process does it alone
    begin : Plan, optional
        a plan of this problem that holds, which is not to be lost
    seed : int
        what is drawn by chance is drawn from it; with the same seed only the clock makes two runs differ

    Returns
    -------
    Answer
        a complete plan with a proven bound, never dearer than the rules of thumb, or what makes one impossible
    """
    return _Solving(problem, seconds, tell, wants_stop, workers, seed).run(begin)


class _Solving:
    """One run: the best state so far, what is proven, and which worker does what."""

    def __init__(
        self, problem: Problem, seconds: float, tell: Tell | None, wants_stop: Wish | None, workers: int, seed: int
    ) -> None:
        self.began = time.monotonic()
        self.end = self.began + seconds - min(RESERVE_SECONDS, seconds / 4)
        # Parts end sooner, so that the dearest jobs of what they come to can be put anew.
        self.deadline = self.end - min(POLISH_SECONDS, POLISH_SHARE * seconds)
        self.problem, self.tell, self.wants_stop, self.count = problem, tell, wants_stop, workers
        self.frame = Frame(problem)
        self.chooser = Chooser(self.frame, len(problem.jobs) + seed)
        # A kiln without jobs costs what its programme costs, come what may: with nothing to place, that is all.
        idle = State(self.frame)
        self.floors = {kiln: idle.price_of_kiln(kiln) for kiln, jobs in enumerate(self.frame.jobs_of) if not jobs}
        self.whole_bound_cents = 0 if self.frame.jobs else idle.cost().total
        self.first_seconds = self.best_seconds = 0.0
        self.orders: dict[int, tuple[Order, str]] = {}
        self.seed, self.next_number = seed, 0
        # Part -> the best that it has said it found; taken where it does not come to its end.
        self.unfinished: dict[int, News] = {}
        self.put_anew_price: int | None = None
        self.to_bound: list[tuple[int, float]] = []
        self.in_vain = 0
        self.cpu_began = time.process_time()
        self.worked: dict[int, float] = {}
        self.state: State | None = None
        self.price = self.total = 0
        self.workers: Workers | Alone | None = None

    @property
    def cpu_seconds(self) -> float:
        """Processor time of this process and, as far as it is known, of the workers."""
        own = time.process_time() - self.cpu_began
        return own + (sum(self.worked.values()) if self.count else 0.0)

    @property
    def gone(self) -> float:
        return time.monotonic() - self.began

    def run(self, begin: Plan | None = None) -> Answer:
        faults = faulty_pins(self.frame)
        hopeless = find_hopeless(self.frame)
        faults += [Fault(f"issued.{one.job}", f"is pinned, but: {one}") for one in hopeless if self._is_pin(one)]
        if faults or hopeless:
            return Answer(None, () if faults else hopeless, tuple(faults))
        failure = ""
        known = None if begin is None else state_of_plan(self.frame, begin)
        if known is not None:
            self.first_seconds = self.gone
            self._keep(known, "as it was")
        by_rule: list[State] = []
        cents: list[int | None] = [None, None, None]
        rules = (due_date_plan, greedy_plan, *((issued_plan,) if self.frame.issued else ()))
        for number, rule in enumerate(rules):
            if self.state is not None and time.monotonic() >= self.deadline:
                break
            by_rule.append(rule(self.frame))
            if self.frame.must <= by_rule[-1].at.keys():
                cents[number] = by_rule[-1].cost().total
                self.first_seconds = self.first_seconds or self.gone
                if self.state is None or self._is_better(by_rule[-1]):
                    self._keep(by_rule[-1], "rule of thumb")
        if self.state is not None and not self._is_over():
            self._put_dearest_anew(self.deadline)
        try:
            if self.state is None:
                answer = self._rescue(min(by_rule, key=self._missing))
                if answer is not None:
                    return answer
            if not self._is_over():
                self._improve()
                self._keep_unfinished()
                self._put_dearest_anew(self.end)
        except WorkerError as error:
            if self.state is None:
                raise
            failure = str(error)
        finally:
            if self.workers is not None:
                self.workers.close()
        plan = self._state.to_plan(self._bound_cents(), self.gone)
        if self.problem.form > 1:
            plan = replace(plan, cannot=find_cannot(self.frame, self._state.at))
        return Answer(
            plan,
            failure=failure,
            is_best=self._is_proven(),
            due_date_cents=cents[0],
            greedy_cents=cents[1],
            first_seconds=self.first_seconds,
            best_seconds=self.best_seconds,
            cpu_seconds=self.cpu_seconds,
        )

    def _keep(self, state: State, step: str) -> None:
        self.state, self.price, self.total = state, state.price(), state.cost().total
        self.best_seconds = self.gone
        self._say(step)

    def _put_dearest_anew(self, until: float) -> None:
        """See whether the plan becomes better where one job after the other is put anew, and until none does."""
        while self.put_anew_price != self.price and not self._is_proven() and time.monotonic() < until:
            self.put_anew_price = self.price
            anew = put_dearest_anew(self._state, is_over=lambda: time.monotonic() >= until or self._is_stopped())
            if not self._is_better(anew):
                return
            self._keep(anew, "dearest anew")

    def _is_better(self, state: State) -> bool:
        return (state.cost().total, state.price()) < (self.total, self.price)

    def _say(self, step: str) -> None:
        if self.tell is not None and self.state is not None:
            state, bound, gone = self.state, self._bound_cents(), self.gone
            self.tell(Progress(gone, self.total, bound, step, self.cpu_seconds, lambda: state.to_plan(bound, gone)))

    def _bound_cents(self) -> int:
        """The proven lower bound of the total; what the kilns cost apart is exact, so that rounding is taken off."""
        apart = sum(self.floors.values()) - lost_by_rounding(self.frame)
        return min(self.total, max(0, self.whole_bound_cents, -(-apart // PARTS)))

    def _is_proven(self) -> bool:
        """Whether no plan is better; of large problems, none that is better by more than rounding."""
        if self.total <= self._bound_cents():
            return True
        return not self._is_small and self.price <= sum(self.floors.values())

    def _is_over(self) -> bool:
        return time.monotonic() >= self.deadline or self._is_stopped() or (self.state is not None and self._is_proven())

    def _is_stopped(self) -> bool:
        return self.wants_stop is not None and self.wants_stop()

    # --- a first plan where the rules of thumb find none -----------------------------------------

    def _rescue(self, start: State) -> Answer | None:
        """Place what must be placed by the solver, with all else left out; or say why that cannot be."""
        frame = self.frame
        found = self._solve_alone(must_task(frame, frame.must))
        if found is not None and found.at is not None:
            self._merge(State(frame), found.at, found.stops, must_task(frame, frame.must), "first plan")
            self.first_seconds = self.gone
            return None
        if found is not None and found.is_impossible:
            clash = explain_together(frame, self._solve_alone, self.deadline)
            if all(self._is_pin(one) for one in clash):
                return Answer(None, faults=tuple(Fault(f"issued.{one.job}", str(one)) for one in clash))
            return Answer(None, clash)
        missing = sorted(frame.must - start.at.keys())
        far = start.to_plan()
        without_place = tuple(job.ref for job in self.problem.jobs if job.ref not in far.jobs)
        return Answer(
            None,
            tuple(not_found_in_time(frame.jobs[job].ref) for job in missing),
            unfinished=Unfinished(far.charge_starts, far.stops, far.jobs, without_place, self.problem.form),
        )

    def _missing(self, state: State) -> tuple[int, int]:
        """How far a state is from a plan: jobs that must be placed and are not; then what it costs."""
        return len(self.frame.must - state.at.keys()), state.cost().total

    def _is_pin(self, one: Hopeless) -> bool:
        return one.job in self.problem.pinned

    def _solve_alone(self, task: Task) -> Found | None:
        """Solve a task in a worker while nothing else is done; None where the time is up."""
        workers = self._crew()
        order = Order(self._number(), task, max(0.5, self.deadline - time.monotonic()), 1e9, 1, is_whole=True)
        workers.give(workers.idle[0], order)
        while True:
            for _, news in workers.news(0.2):
                if news.number == order.number and news.found is not None:
                    return news.found
            if self._is_stopped():
                return None

    def _crew(self) -> Workers | Alone:
        if self.workers is None:
            self.workers = Workers(self.problem, self.count) if self.count else Alone(self.frame)
        return self.workers

    def _number(self) -> int:
        self.next_number += 1
        return self.next_number

    # --- better and better -----------------------------------------------------------------------

    def _improve(self) -> None:
        workers = self._crew()
        kilns = [kiln for kiln, jobs in enumerate(self.frame.jobs_of) if jobs]
        kilns.sort(key=lambda kiln: -self._state.price_of_kiln(kiln))
        self.to_bound = [(kiln, APART_EFFORT) for kiln in kilns]
        prices = {kiln: self._state.price_of_kiln(kiln) for kiln in kilns}
        # In a large mill the first one begins before it is known what kilns cost at least.
        first = prices if self._is_large else self.floors
        self.buildings = [
            Building(self.frame, lambda kiln: first.get(kiln, 0)),
            Building(self.frame, lambda kiln: prices.get(kiln, 0) - self.floors.get(kiln, 0), needs_floors=True),
        ]
        while not self._is_over():
            for worker in list(workers.idle):
                self._dispatch(workers, worker)
            if not workers.busy:
                return
            for _, news in workers.news(min(0.2, max(0.0, self.deadline - time.monotonic()))):
                self._hear(news)

    @property
    def _state(self) -> State:
        assert self.state is not None  # noqa: S101  improving begins with a plan
        return self.state

    def _keep_unfinished(self) -> None:
        """Take what parts have found that do not come to their end any more, be it for the time or because one stops.

        What the solver said meanwhile lies in the pipe where nobody listened.
        """
        if self.workers is not None and self.workers.busy:
            for _, news in self.workers.news(0):
                self._hear(news)
        for number, news in sorted(self.unfinished.items()):
            order, kind = self.orders[number]
            if news.at is not None and news.stops is not None and kind in self.chooser.size:
                self._merge(self._state, news.at, news.stops, order.task, kind)

    def _dispatch(self, workers: Workers | Alone, worker: int) -> None:
        """Give a worker what is most useful: kiln by kiln first, then what they cost at least, then larger parts.

        In a large mill all of this goes on beside each other: one process proves, the others better the plan.
        """
        left = self.deadline - time.monotonic()
        if left < LEAST_SECONDS:
            return
        state, kinds = self._state, [kind for _, kind in self.orders.values()]
        taken = {kiln for order, kind in self.orders.values() if kind in self.chooser.size for kiln in order.task.kilns}
        building = self._next_building()
        # A process that is alone takes turns.
        is_proving = "apart" in kinds or (self.count <= 1 and self.next_number % 2 == 1)
        if self.to_bound and self.to_bound[0][1] <= APART_EFFORT and not (self._is_large and is_proving):
            self._bound_kiln(workers, worker)
        elif building is not None:
            self._give(workers, worker, building.next_task(), "built", BUILD_EFFORT)
            building.number = self.next_number
        elif self.to_bound and "apart" not in kinds and not self.buildings:
            # With the better plan that there is by now, less remains to be looked at.
            self._bound_kiln(workers, worker)
        elif self._may_prove() and "whole" not in kinds:
            self._give(workers, worker, whole_task(state, self.floors), "whole", 1e9)
        else:
            choice = self.chooser.choose(state, self.floors, taken)
            if choice is None and self._is_small and not self.to_bound and "whole" not in kinds:
                self._give(workers, worker, whole_task(state, self.floors), "whole", 1e9)
            elif choice is not None:
                kind, kilns, free = choice
                task = task_of(state, kilns, free, self.floors if kind == "kilns" else None)
                self._give(workers, worker, task, kind, PART_EFFORT)

    def _next_building(self) -> Building | None:
        """The plan that is built on; the second one of a large mill needs to know what kilns cost at least."""
        is_first_pass = bool(self.to_bound) and self.to_bound[0][1] <= APART_EFFORT
        ready = [one for one in self.buildings if not one.needs_floors or not (self._is_large and is_first_pass)]
        return next((one for one in ready if not one.is_waiting), None)

    def _bound_kiln(self, workers: Workers | Alone, worker: int) -> None:
        kiln, effort = self.to_bound.pop(0)
        self._give(workers, worker, task_of(self._state, [kiln], apart=True), "apart", effort)

    def _may_prove(self) -> bool:
        """Whether it is time to solve the whole: few jobs, and the parts have not helped for a while."""
        return self._is_small and self.in_vain >= PARTS_IN_VAIN and not self.to_bound

    @property
    def _is_large(self) -> bool:
        return len(self.frame.kilns) > MOST_KILNS_FIRST

    @property
    def _is_small(self) -> bool:
        return len(self.frame.jobs) <= MOST_JOBS_WHOLE

    def _give(self, workers: Workers | Alone, worker: int, task: Task, kind: str, effort: float) -> None:
        left, whole = max(LEAST_SECONDS, self.deadline - time.monotonic()), kind == "whole"
        streams = whole or kind in self.chooser.size
        number = self._number()
        order = Order(number, task, left, effort, self.seed + number, is_whole=whole, streams=streams)
        self.orders[order.number] = (order, kind)
        workers.give(worker, order)

    def _hear(self, news: News) -> None:
        order, kind = self.orders[news.number]
        self.worked[news.number] = news.cpu_seconds
        found = news.found
        if found is not None:
            del self.orders[news.number]
            self.unfinished.pop(news.number, None)
        elif kind in self.chooser.size:
            self.unfinished[news.number] = news
            return
        if kind == "apart" and found is not None and not found.is_impossible:
            self._hear_apart(order, found)
        if kind == "built" and found is not None:
            self._hear_built(order, found)
            return
        if kind == "whole":
            bound = news.bound if found is None else found.bound
            if found is not None and found.is_impossible:
                bound = order.task.price
            # What costs more than the plan was left out: the plan's cost bounds it, too.
            cents = min(-(-(bound or 0) // PARTS), ((order.task.price or 0) - lost_by_rounding(self.frame)) // PARTS)
            if cents > self.whole_bound_cents:
                self.whole_bound_cents = cents
                self._say("proof")
        before = self.price
        at, stops = (news.at, news.stops) if found is None else (found.at, found.stops)
        if at is not None and stops is not None:
            self._merge(self._state, at, stops, order.task, kind)
        is_better = self.price < before
        if is_better:
            self.in_vain = 0
        if found is not None and kind in self.chooser.size:
            # What is proven of kilns apart, or of the whole, says nothing of what parts still bring.
            self.in_vain += not is_better
            self.chooser.heard(order.task.free, order.task.kilns, found.is_proven, is_better)
            self.chooser.learn(kind, len(order.task.free), found.is_proven, found.cpu_seconds)

    def _hear_built(self, order: Order, found: Found) -> None:
        """Add a kiln to the plan that is built kiln by kiln; take that plan where it is complete and cheaper."""
        building = next((one for one in self.buildings if one.number == order.number), None)
        if building is None:
            return
        if not building.add(found):
            self.buildings.remove(building)
        elif building.is_complete:
            self.buildings.remove(building)
            self._take_built(building)
        elif building.is_at_a_mark:
            self._take_built(building)
        self._say("kiln by kiln")

    def _take_built(self, building: Building) -> None:
        """Take the plan that is built so far, the rest by rule of thumb, if it is the better one."""
        state = building.completed()
        if state is not None and state.is_sound() and self._is_better(state):
            self._keep(state, "kiln by kiln")

    def _hear_apart(self, order: Order, found: Found) -> None:
        """Note what a kiln costs at least; ask again with more time where that is not proven."""
        (kiln,) = order.task.kilns
        price = order.task.price or 0
        self.floors[kiln] = max(self.floors.get(kiln, 0), min(found.bound, price))
        if found.at is not None:
            self.chooser.ideals[kiln] = (found.at, found.stops[kiln])
        if not found.is_proven:
            self.to_bound.append((kiln, order.effort * 1.5))
        self._say("kilns apart")

    def _merge(self, base: State, at: dict[int, JobAt], stops: dict[int, Stops], task: Task, step: str) -> None:
        """Put a part into the plan where that holds and is cheaper: another part may have changed meanwhile.

        Kilns that the part left as they were stay as they have become since.
        """
        frame = self.frame
        changed = {kiln for kiln in task.kilns if self._is_changed(kiln, at, stops, task)}
        all_at = {job: one for job, one in base.at.items() if frame.kiln_of[job] not in changed}
        all_at.update({job: one for job, one in at.items() if frame.kiln_of[job] in changed})
        all_stops = [stops.get(k, base.stops[k]) if k in changed else base.stops[k] for k in range(len(frame.kilns))]
        state = state_of(frame, all_at, all_stops)
        if state is None or not state.is_sound():
            return
        if self.state is None or self._is_better(state):
            self._keep(state, step)

    def _is_changed(self, kiln: int, at: dict[int, JobAt], stops: dict[int, Stops], task: Task) -> bool:
        jobs = self.frame.jobs_of[kiln]
        return stops.get(kiln) != task.stops.get(kiln) or any(at.get(job) != task.at.get(job) for job in jobs)
