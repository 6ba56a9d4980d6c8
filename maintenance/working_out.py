"""Working a plan out: the problem drawn from the records, the solver in a process of its own, the best kept."""

import json
import os
import selectors
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.actions.desk import Desk, load_desk
from maintenance.actions.plans import PLAN_TASK, changes_between
from maintenance.calculations.placing import plan as plans
from maintenance.calculations.placing.checking import check
from maintenance.calculations.placing.frame import Frame
from maintenance.calculations.placing.hopeless import find_hopeless
from maintenance.calculations.placing.plan import Hopeless, plan_to_json
from maintenance.calculations.placing.plan_reading import read_plan
from maintenance.calculations.placing.problem import problem_to_json
from maintenance.models import Plan
from maintenance.plan_problem import Drawn, draw_problem
from maintenance.plan_states import (
    Standing,
    as_bytes,
    as_it_stood_of,
    as_it_stood_to_json,
    best_so_far,
    standing_in,
)
from maintenance.plan_words import value_words
from maintenance.suppositions import suppose
from maintenance.sureness import kept_sureness, unpriced_words
from plant import clock
from plant.background.running import ClaimLostError
from plant.models import Job, Mill

State = Plan.State
Report = Callable[[int, int, str], None]
LOOK_EVERY_S = 1.0
#: Beyond its time the solver is given so long to write its plan.
GRACE_S = 60.0
#: So often at most the best plan so far is kept with the plan.
KEEP_EVERY_S = 2.0
MOST_STEPS_KEPT = 400


def work_out(plan_id: int, progress: Report) -> dict[str, Any]:
    """Work a plan out and keep the best found; what goes wrong is kept with the plan, and nothing else is touched.

    The best so far is kept on the way. Whatever cuts the work off, the plan ends early with it: by an error here at
    once, by a worker that died when the job is taken up again.
    """
    plan = Plan.objects.get(pk=plan_id)
    if not plan.is_at_work:
        return {"state": plan.state}
    if plan.plan:
        _end_early(plan, _("The background work broke off."))
    else:
        _work_out(plan, progress)
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
    progress(0, plan.seconds_allowed, _("gathering jobs, charges and people"))
    try:
        desk = load_desk(clock.now())
        drawn, unsafe = _drawn(desk, plan)
        before = standing_in(desk, drawn)
        _refuse_faulty_pins(drawn, before)
        _keep_problem(plan, desk, drawn, unsafe, before)
        _run(plan, drawn, before, progress)
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


def _drawn(desk: Desk, plan: Plan) -> tuple[Drawn, dict[str, str]]:
    """Draw the problem; safety jobs that no plan can do in time give way, and are named with what could be done."""
    unsafe: dict[str, str] = {}
    while True:
        drawn = draw_problem(desk, gives_way=unsafe)
        if plan.suppositions:
            drawn, _said = suppose(drawn, plan.suppositions)
        pinned = drawn.problem.pinned
        hopeless = [one for one in find_hopeless(Frame(drawn.problem)) if one.job not in unsafe]
        fixed = [one for one in hopeless if one.job in pinned]
        if fixed:
            raise _FailedError(" ".join(_say(drawn, one) for one in fixed))
        if not hopeless:
            return drawn, unsafe
        unsafe |= {one.job: _say(drawn, one) for one in hopeless}


def _refuse_faulty_pins(drawn: Drawn, before: Standing) -> None:
    """Say which jobs keep a place that does not hold: no plan can keep them there."""
    said = [f"{ref}: {before.loose[ref]}" for ref in sorted(drawn.problem.pinned & before.loose.keys())]
    if said:
        raise _FailedError(
            _("A job keeps a place that does not hold. Let it move, or place it anew. %s") % " ".join(said)
        )


def _say(drawn: Drawn, one: Hopeless) -> str:
    """Say why a job is hopeless, with the mill's own times and money."""
    mill = Mill.objects.current()
    values = {name: value_words(name, value, drawn.at, mill) for name, value in one.values}
    return one.pattern.format(**values) if one.pattern else one.text


def _keep_problem(plan: Plan, desk: Desk, drawn: Drawn, unsafe: Mapping[str, str], before: Standing) -> None:
    plan.base_at = drawn.base_at
    plan.problem = problem_to_json(drawn.problem)
    plan.charge_ids = {tag: list(ids) for tag, ids in drawn.charge_ids.items()}
    plan.last_charge_ids = dict(drawn.last_charge_ids)
    plan.versions = {job.ref: desk.orders[job.ref].version for job in drawn.problem.jobs}
    plan.notes, plan.aside, plan.unsafe = list(drawn.notes), dict(drawn.aside), dict(unsafe)
    unpriced = sum(desk.orders[job.ref].is_cost_unknown for job in drawn.problem.jobs)
    plan.notes += [unpriced_words(unpriced)] if unpriced else []
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
            "sureness",
            "as_it_stood",
            "as_it_stood_cents",
            "progress",
        ]
    )


def _run(plan: Plan, drawn: Drawn, before: Standing, progress: Report) -> None:
    if not drawn.problem.jobs:
        raise _FailedError(_("There is no job to place."))
    with tempfile.TemporaryDirectory(prefix="kilnward-plan-") as folder:
        problem, answer = Path(folder, "problem.json"), Path(folder, "plan.json")
        problem.write_bytes(as_bytes(plan.problem))
        best = _Best(plan, drawn, answer)
        try:
            with Solver(problem, answer, plan.seconds_allowed) as solver:
                _follow(plan, solver, best, progress)
        finally:
            # Whatever ended the solver, what it wrote last counts.
            best.look()
        if solver.code == 1:
            raise _FailedError(_("No plan can be made from what is on record: %s") % solver.said)
        if solver.code == 2:
            found = json.loads(answer.read_bytes())["impossible"]
            raise _FailedError(" ".join(one["text"] for one in found))
        if (solver.code or 0) < 0:
            raise _FailedError(
                _("The working-out was ended from outside (signal %d). What is on record stays as it was.")
                % -(solver.code or 0)
            )
        if solver.code != 0:
            raise _FailedError(
                _("The working-out broke off (%(code)s). What is on record stays as it was. %(said)s")
                % {"code": solver.code, "said": solver.said}
            )
        kept = read_plan(answer.read_bytes())
    _keep_plan(plan, before, kept, solver.last)


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
        kept = read_plan(self.answer.read_bytes())
        if isinstance(kept, plans.Plan) and check(self.drawn.problem, kept).holds:
            rows = Plan.objects.filter(pk=self.plan.pk, state=State.UNDER_WAY)
            rows.update(plan=plan_to_json(kept))


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
        progress(min(seconds, plan.seconds_allowed - 1), plan.seconds_allowed, plan.name)
        # Before its first plan it would have nothing to give.
        if solver.steps and not is_stopped and Plan.objects.filter(pk=plan.pk, wants_stop=True).exists():
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


def _keep_plan(plan: Plan, before: Standing, kept: plans.Plan | tuple[Hopeless, ...], told: Mapping[str, Any]) -> None:
    """Keep the plan that the solver came to an end with, once the checker has passed it."""
    if not isinstance(kept, plans.Plan):
        raise _FailedError(" ".join(one.text for one in kept))
    verdict = check(before.drawn.problem, kept)
    if not verdict.holds:
        raise _FailedError(
            _("The plan that was found does not hold: %s") % "; ".join(str(one) for one in verdict.broken[:5])
        )
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
