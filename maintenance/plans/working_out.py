"""Working a plan out: the problem drawn from the records, the solver in a process of its own, the best kept."""

import json
import os
import selectors
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.models import Plan
from maintenance.placing import plan as plans
from maintenance.placing.checking import check
from maintenance.placing.frame import Frame
from maintenance.placing.hopeless import find_hopeless, not_found_in_time
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.letting_go import cheapest_first
from maintenance.placing.plan import plan_to_json
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.problem import problem_to_json
from maintenance.plans.accepting import LEAST_SECONDS, PLAN_TASK, changes_between
from maintenance.plans.desk import Desk, load_desk
from maintenance.plans.drawing import Drawn, draw_problem
from maintenance.plans.place_faults import pins_let_go
from maintenance.plans.standing import (
    Standing,
    as_bytes,
    as_it_stood_of,
    as_it_stood_to_json,
    best_so_far,
    ends_late,
    standing_in,
)
from maintenance.plans.suppositions import suppose
from maintenance.pricing.sureness import kept_sureness, unpriced_told
from plant import clock
from plant.background.running import ClaimLostError
from plant.basics.sentences import Sentence, Sentences, all_to_json, typed
from plant.frame.saying import say
from plant.models import Job

State = Plan.State
Report = Callable[[int, int, Sentence | Sentences], None]
LOOK_EVERY_S = 1.0
#: Beyond its time the solver is given so long to write its plan.
GRACE_S = 60.0
#: So often at most the best plan so far is kept with the plan.
KEEP_EVERY_S = 2.0
MOST_STEPS_KEPT = 400
#: A solver that breaks off is started so often in all.
MOST_STARTS = 2


def work_out(plan_id: int, progress: Report) -> dict[str, Any]:
    """Work a plan out and keep the best found; what goes wrong is kept with the plan, and nothing else is touched.

    The best so far is kept on the way. A solver that is cut off, alone or with the worker that started it, is asked
    once more and goes on from there; whatever cuts it off then, the plan ends early with the best so far.
    """
    plan = Plan.objects.get(pk=plan_id)
    if not plan.is_at_work:
        return {"state": plan.state}
    if not plan.plan:
        with _ending(plan):
            _work_out(plan, progress)
    elif plan.starts < MOST_STARTS and not plan.wants_stop:
        with _ending(plan):
            _run(plan, as_it_stood_of(plan), progress, plan.seconds_allowed)
    else:
        _end_early(plan, _("The background work broke off."))
    plan.refresh_from_db(fields=["state", "cost_cents"])
    return {"state": plan.state, "cost_cents": plan.cost_cents}


def end_given_up() -> int:
    """End the plans whose background work was given up, with the best that each has; return how many."""
    given_up = Job.objects.failed().filter(what=PLAN_TASK).values_list("arguments", flat=True)
    of_jobs = {arguments["plan"] for arguments in given_up}
    plans_left = list(Plan.objects.filter(pk__in=of_jobs, state__in=[State.WANTED, State.UNDER_WAY]))
    for plan in plans_left:
        _end_early(plan, _("The background work broke off; see there."))
    return len(plans_left)


def _work_out(plan: Plan, progress: Report) -> None:
    Plan.objects.filter(pk=plan.pk).update(state=State.UNDER_WAY)
    progress(0, plan.seconds_allowed, Sentence.of("plan.gathering"))
    desk = load_desk(clock.now())
    before, unsafe, let_go = _drawn(desk, plan)
    until = time.monotonic() + plan.seconds_allowed
    while True:
        _keep_problem(plan, desk, before, unsafe, let_go)
        try:
            _run(plan, before, progress, max(LEAST_SECONDS, round(until - time.monotonic())))
        except _PinsInTheWayError as clash:
            ref = cheapest_first(before.frame, clash.refs)[0]
            before = standing_in(desk, before.drawn.without_pins([ref]))
            let_go[ref] = clash.told
        else:
            return


@contextmanager
def _ending(plan: Plan) -> Iterator[None]:
    """Let whatever goes wrong end the plan."""
    try:
        yield
    except _FailedError as failure:
        _end_early(plan, str(failure))
    except ClaimLostError:
        # Another attempt has it by now, and ends it.
        raise
    except ValidationError as refusal:
        # What is supposed was over, or no longer known, when its turn came.
        _end_early(plan, " ".join(refusal.messages))
    except BaseException:
        # Said with the job, by whoever runs it; the plan must not look as if it were still being worked out.
        _end_early(plan, _("The background work broke off; see there."))
        raise


class _FailedError(Exception):
    """Raised for what keeps a plan from being worked out; its text is shown to the planner."""


class _BrokeOffError(_FailedError):
    """Raised where the solver ended without saying anything: asked once more, it may come to its end."""


class _PinsInTheWayError(_FailedError):
    """Raised where no plan can be because of jobs that are kept where they are, together with others."""

    def __init__(self, refs: Collection[str], told: Sentences) -> None:
        super().__init__(say(told))
        self.refs, self.told = refs, told


def _end_early(plan: Plan, why: str) -> None:
    """End with the best plan that was found by now, acceptable like any other; without one, the plan has failed."""
    plan.refresh_from_db()
    best = best_so_far(plan)
    if best is None:
        plan.state = State.FAILED
    else:
        plan.state, plan.is_best = State.ENDED_EARLY, False
        plan.cost_cents = best.cost.total
        plan.bound_cents = min(plan.bound_cents or 0, best.cost.total)
        plan.changes = changes_between(as_it_stood_of(plan), best)
    plan.failure = why[:4000]
    _end(plan, ["state", "is_best", "cost_cents", "bound_cents", "changes", "failure"])


@transaction.atomic
def _end(plan: Plan, fields: list[str]) -> None:
    """Store how a plan ended, once: another attempt may have been quicker, and somebody may have accepted it since."""
    if Plan.objects.select_for_update().get(pk=plan.pk).is_at_work:
        plan.ended_at = clock.now()
        plan.save(update_fields=[*fields, "ended_at"])


def _drawn(desk: Desk, plan: Plan) -> tuple[Standing, dict[str, Sentences], dict[str, Sentences]]:
    """Draw the problem, with what stands in it; name the safety jobs that give way, and the pins that are let go.

    Safety jobs that no plan can do in time are done as soon as can be, or stay where they are kept by hand.
    """
    unsafe: dict[str, Sentences] = {ref: _kept_late(desk, ref) for ref in desk.placed_refs if _is_kept_late(desk, ref)}
    while True:
        before = standing_in(desk, draw_problem(desk, gives_way=unsafe))
        drawn = before.drawn
        let_go = pins_let_go(desk, {**drawn.aside, **before.loose}, drawn.problem.pinned)
        if plan.suppositions:
            drawn, _said = suppose(drawn, plan.suppositions)
            before = standing_in(desk, drawn)
        hopeless = [one for one in find_hopeless(Frame(before.drawn.problem)) if one.job not in unsafe]
        if not hopeless:
            return before, unsafe, let_go
        unsafe |= {one.job: tuple(map(before.told, one.said)) for one in hopeless}


def _is_kept_late(desk: Desk, ref: str) -> bool:
    return ref in desk.to_place and desk.orders[ref].placement.is_pinned and ends_late(desk.orders[ref])


def _kept_late(desk: Desk, ref: str) -> Sentences:
    return (Sentence.of("unsafe.kept_late", end_at=desk.orders[ref].placement.end_at),)


def _keep_problem(
    plan: Plan, desk: Desk, before: Standing, unsafe: Mapping[str, Sentences], let_go: Mapping[str, Sentences]
) -> None:
    drawn = before.drawn
    plan.starts = 0
    plan.pins_let_go = {
        ref: {"why": all_to_json(why), "start_at": desk.orders[ref].placement.start_at.isoformat()}
        for ref, why in let_go.items()
    }
    plan.base_at = drawn.base_at
    plan.problem = problem_to_json(drawn.problem)
    plan.charge_ids = {tag: list(ids) for tag, ids in drawn.charge_ids.items()}
    plan.last_charge_ids = dict(drawn.last_charge_ids)
    plan.versions = {job.ref: desk.orders[job.ref].version for job in drawn.problem.jobs}
    unpriced = sum(desk.orders[job.ref].is_cost_unknown for job in drawn.problem.jobs)
    plan.notes = all_to_json((*drawn.notes, *unpriced_told(unpriced)))
    plan.aside, plan.unsafe = ({ref: all_to_json(why) for ref, why in of.items()} for of in (drawn.aside, unsafe))
    plan.sureness = kept_sureness(desk.orders[job.ref] for job in drawn.problem.jobs)
    plan.as_it_stood = as_it_stood_to_json(before)
    plan.as_it_stood_cents = before.cost_as_shown.total
    plan.progress = []
    plan.save(
        update_fields=[
            "base_at",
            "problem",
            "charge_ids",
            "last_charge_ids",
            "versions",
            "notes",
            "aside",
            "unsafe",
            "pins_let_go",
            "starts",
            "sureness",
            "as_it_stood",
            "as_it_stood_cents",
            "progress",
        ]
    )


def _run(plan: Plan, before: Standing, progress: Report, seconds: int) -> None:
    """Let the solver work, and keep what it comes to; one that breaks off is asked once more, from its best so far."""
    if not before.drawn.problem.jobs:
        raise _FailedError(_("There is no job to place."))
    until = time.monotonic() + seconds
    with tempfile.TemporaryDirectory(prefix="kilnward-plan-") as folder:
        problem, answer = Path(folder, "problem.json"), Path(folder, "plan.json")
        problem.write_bytes(as_bytes(plan.problem))
        best = _Best(plan, before.drawn, answer)
        best.put_back()
        while True:
            left = max(LEAST_SECONDS, round(until - time.monotonic()))
            plan.starts += 1
            Plan.objects.filter(pk=plan.pk).update(starts=plan.starts)
            try:
                kept, told = _asked(plan, problem, answer, left, best, before, progress)
            except _BrokeOffError as broke:
                if plan.starts < MOST_STARTS and not _wants_stop(plan):
                    best.put_back()
                    continue
                again = "" if plan.starts < MOST_STARTS else _("It was asked twice.")
                raise _FailedError(f"{broke} {again}".strip()) from None
            if not told.get("failure") or plan.starts >= MOST_STARTS or _wants_stop(plan):
                break
    _keep_plan(plan, before, kept, told)


def _wants_stop(plan: Plan) -> bool:
    return Plan.objects.filter(pk=plan.pk, wants_stop=True).exists()


def _asked(
    plan: Plan, problem: Path, answer: Path, seconds: int, best: "_Best", before: Standing, progress: Report
) -> tuple[plans.Plan, Mapping[str, Any]]:
    """Ask the solver once; return its plan and what it said of it."""
    try:
        with Solver(problem, answer, seconds) as solver:
            _follow(plan, solver, best, progress)
    finally:
        # Whatever ended the solver, what it wrote last counts.
        best.look()
    if solver.code == 1:
        raise _FailedError(_("No plan can be made from what is on record: %s") % solver.said)
    if (solver.code or 0) < 0:
        raise _BrokeOffError(
            _(
                "The working-out was ended from outside (signal %d): by hand, or because the machine had no memory "
                "left for it. What is on record stays as it was."
            )
            % -(solver.code or 0)
        )
    try:
        found = read_plan(answer.read_bytes())
    except (OSError, FaultyFileError):
        found = None
    if isinstance(found, plans.Unfinished) and solver.code == 3:
        must = [before.frame.jobs[job].ref for job in sorted(before.frame.must)]
        missing = [ref for ref in must if ref in found.without_place]
        raise _FailedError(say(before.told(said) for ref in missing for said in not_found_in_time(ref).said))
    if solver.code not in (0, 2):
        raise _BrokeOffError(
            _("The working-out broke off (%(code)s). What is on record stays as it was. %(said)s")
            % {"code": solver.code, "said": solver.said}
        )
    if isinstance(found, plans.Plan) and solver.code == 0 and solver.last:
        return found, solver.last
    if isinstance(found, tuple) and solver.code == 2:
        refs = {one.job for one in found} & best.drawn.problem.pinned
        why = tuple(dict.fromkeys(before.told(said) for one in found for said in one.said))
        if refs and {one.rule for one in found} == {"together"}:
            raise _PinsInTheWayError(refs, why)
        raise _FailedError(say(why))
    raise _BrokeOffError(
        _("The working-out ended and left no plan that can be read. What is on record stays as it was.")
    )


class _Best:
    """The best plan so far, which the solver writes on the way: kept with the plan, so that it outlives the process."""

    def __init__(self, plan: Plan, drawn: Drawn, answer: Path) -> None:
        self.plan, self.drawn, self.answer = plan, drawn, answer
        self.stamp = 0

    def look(self) -> None:
        """Keep what is new and what the checker passes."""
        if not self.answer.exists() or self.answer.stat().st_mtime_ns == self.stamp:
            return
        self.stamp = self.answer.stat().st_mtime_ns
        try:
            kept = read_plan(self.answer.read_bytes())
        except FaultyFileError:
            # What the solver says of it at its end decides.
            return
        if isinstance(kept, plans.Plan) and check(self.drawn.problem, kept).holds:
            rows = Plan.objects.filter(pk=self.plan.pk, state=State.UNDER_WAY)
            rows.update(plan=plan_to_json(kept))

    def put_back(self) -> None:
        """Let the solver begin with the best that is kept; where there is none, with nothing."""
        kept = Plan.objects.values_list("plan", flat=True).get(pk=self.plan.pk)
        if kept:
            self.answer.write_bytes(as_bytes(kept))
        else:
            self.answer.unlink(missing_ok=True)


class Solver:
    """The solver's process: its lines on the way, and what it ended with; leaving the block ends it."""

    def __init__(self, problem: Path, answer: Path, seconds: int) -> None:
        self.deadline = time.monotonic() + seconds + GRACE_S
        self.steps: list[dict[str, Any]] = []
        self.last: dict[str, Any] = {}
        self.said = ""
        self.code: int | None = None
        self.process = subprocess.Popen(  # noqa: S603  our own command, no text of a user's
            [
                sys.executable,
                "-m",
                "plant.background.children",
                "command",
                str(os.getpid()),
                "place",
                "--json-progress",
                *("--problem", str(problem)),
                *("--plan", str(answer)),
                *("--seconds", str(seconds)),
            ],
            cwd=settings.BASE_DIR,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        assert self.process.stderr is not None  # noqa: S101  asked for a line above
        os.set_blocking(self.process.stderr.fileno(), False)
        self._rest = b""
        self._selector = selectors.DefaultSelector()
        self._selector.register(self.process.stderr, selectors.EVENT_READ)

    def __enter__(self) -> "Solver":
        return self

    def __exit__(self, *_exception: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.code = self.process.wait()
        self._selector.close()
        if self.process.stderr is not None:
            self.process.stderr.close()

    def listen(self, seconds: float) -> bool:
        """Hear what it says for some time at most; False once it has ended."""
        if self._selector.select(seconds):
            assert self.process.stderr is not None  # noqa: S101
            content = self.process.stderr.read()
            if content == b"":
                return False
            lines = (self._rest + (content or b"")).split(b"\n")
            self._rest = lines.pop()
            for line in lines:
                self._hear(line.decode(errors="replace"))
        return True

    def _hear(self, line: str) -> None:
        try:
            told = json.loads(line)
        except ValueError:
            if line.startswith("note: "):
                return
            # What is no progress is what it complains about.
            self.said = f"{self.said} {line}".strip()[-2000:]
            return
        if "cost_cents" in told:
            self.steps.append(told)
        else:
            self.last = told

    def stop(self) -> None:
        """Ask it to come to its end with the best plan so far."""
        self.process.send_signal(signal.SIGTERM)


def _follow(plan: Plan, solver: Solver, best: _Best, progress: Report) -> None:
    """Keep how far it is and the best so far until it ends; a wish to stop is passed on."""
    looked_at, kept_at, is_stopped = 0.0, 0.0, False
    while solver.listen(0.25):
        now = time.monotonic()
        if now - looked_at < LOOK_EVERY_S:
            continue
        looked_at = now
        _keep_steps(plan, solver)
        if now - kept_at >= KEEP_EVERY_S:
            kept_at = now
            best.look()
        seconds = int(solver.steps[-1]["seconds"]) if solver.steps else 0
        progress(min(seconds, plan.seconds_allowed - 1), plan.seconds_allowed, typed(plan.name))
        # Before its first plan it would have nothing to give.
        if solver.steps and not is_stopped and _wants_stop(plan):
            is_stopped = True
            solver.stop()
        if now > solver.deadline:
            raise _FailedError(_("The working-out did not end in its time. What is on record stays as it was."))
    solver.process.wait()
    _keep_steps(plan, solver)


def _keep_steps(plan: Plan, solver: Solver) -> None:
    if solver.steps:
        steps = [[one["seconds"], one["cost_cents"], one["bound_cents"]] for one in solver.steps]
        last = steps[-1]
        kept = steps[-MOST_STEPS_KEPT:]
        Plan.objects.filter(pk=plan.pk).update(progress=kept, cost_cents=last[1], bound_cents=min(last[1], last[2]))


def _keep_plan(plan: Plan, before: Standing, kept: plans.Plan, told: Mapping[str, Any]) -> None:
    """Keep the plan that the solver came to an end with, once the checker has passed it."""
    verdict = check(before.drawn.problem, kept)
    if not verdict.holds:
        broken = say(before.said_of(one, kept) for one in verdict.broken[:5])
        raise _FailedError(_("The plan that was found does not hold: %s") % broken)
    after = before.with_plan(kept)
    plan.plan = plan_to_json(kept)
    plan.cost_cents, plan.bound_cents = verdict.cost.total, min(kept.bound_cents, verdict.cost.total)
    plan.is_best = bool(told.get("is_best"))
    plan.due_date_cents = told.get("due_date_cents")
    plan.failure = str(told.get("failure") or "")
    plan.changes = changes_between(before, after)
    plan.state = State.ENDED_EARLY if plan.failure else State.WORKED_OUT
    _end(
        plan,
        ["plan", "cost_cents", "bound_cents", "is_best", "due_date_cents", "failure", "changes", "state"],
    )
