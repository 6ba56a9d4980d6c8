"""``manage.py place``: place the jobs of a problem file into its charge programme, without a database."""

import json
import os
import signal
import sys
import tempfile
import time
from argparse import ArgumentParser
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandParser

from maintenance.placing.checking import check
from maintenance.placing.json_places import FaultyFileError
from maintenance.placing.plan import Hopeless, Plan, impossible_to_json, plan_to_json, unfinished_to_json
from maintenance.placing.plan_reading import read_plan
from maintenance.placing.reading import read_problem
from maintenance.placing.solving import Answer, Progress, solve
from maintenance.placing.workers import WorkerError
from plant.basics.sentences import Sentence, Value
from plant.frame.saying import say, saying_for
from plant.models import Mill

DONE, FAULTY, IMPOSSIBLE, UNFINISHED = 0, 1, 2, 3
DEFAULT_SECONDS = 60.0
#: The best plan so far is written so often at most, and so that writing takes no more than this share of the time.
KEEP_EVERY_S, MOST_SHARE_KEEPING = 1.0, 0.05


class Command(BaseCommand):
    """Read a problem, find the plan that costs the least, write it."""

    help = (
        "Places jobs into the charge programme at the least cost. Exit code 0: the plan is written; 1: the problem "
        "cannot be used, every fault is named; 2: no plan can exist, the causes are written; 3: it broke off, or the "
        "time was up before there was a plan, and how far it came is written. The best plan so far is written on the "
        "way, so that a run that is cut off leaves it; where one that holds lies there already, the run begins with it."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name files and time."""
        parser.add_argument("--problem", required=True, type=Path, help="file in the form placing-problem/1 or /2")
        parser.add_argument(
            "--plan", required=True, type=Path, help="file to be written, in the form placing-plan/1 or /2"
        )
        parser.add_argument(
            "--seconds", type=float, default=DEFAULT_SECONDS, help="wall time it may take (default %(default)g)"
        )
        parser.add_argument("--json-progress", action="store_true", help="say how far it is as a JSON object a line")

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Leave with exit code 1 on a wrong call, as 2 means something else here."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.exit_on_error = False
        parser.error = lambda message: self._leave(FAULTY, message)  # type: ignore[method-assign]
        return parser

    def handle(
        self, *args: Any, problem: Path, plan: Path, seconds: float, json_progress: bool = False, **options: Any
    ) -> None:
        """Do it, and leave with the exit code."""
        began = time.monotonic()
        if not 0 < seconds < float("inf"):
            self._leave(FAULTY, f"--seconds: {seconds} is not a time")
        try:
            asked, remarks = read_problem(problem.read_bytes())
        except OSError as error:
            self._leave(FAULTY, f"{problem}: {error.strerror}")
        except FaultyFileError as error:
            self._leave(FAULTY, *(str(fault) for fault in error.faults))
        for remark in remarks:
            self.stderr.write(f"note: {remark}")
        self._told = -1.0
        self._as_json, self._wants_stop = json_progress, False
        self._asked, self._path = asked, plan
        self._better: Progress | None = None
        self._kept_cents, self._keep_next = float("inf"), 0.0
        # Whoever ends it early gets the best plan so far.
        signal.signal(signal.SIGTERM, self._stop)
        left = max(0.1, seconds - (time.monotonic() - began))
        try:
            answer = solve(asked, left, self._tell, wants_stop=self._look_up, begin=self._begun(plan))
        except (MemoryError, WorkerError) as error:
            self._leave(UNFINISHED, f"the solver broke off: {error or type(error).__name__}")
        if answer.faults:
            self._leave(FAULTY, *(str(fault) for fault in answer.faults))
        if answer.plan is None:
            told = [f"{one.job}: {self._said(one)}" for one in answer.hopeless]
            if answer.unfinished is not None:
                self._write(plan, unfinished_to_json(answer.unfinished))
                self._leave(UNFINISHED, *told)
            self._write(plan, self._with_texts(impossible_to_json(answer.hopeless, asked.form), answer.hopeless))
            self._leave(IMPOSSIBLE, *told)
        verdict = check(asked, answer.plan)
        if not verdict.holds:
            self._leave(FAULTY, "the plan that was found does not hold:", *(str(one) for one in verdict.broken))
        for one in answer.plan.cannot:
            self.stderr.write(f"note: {one.job} is left out: {self._said(one)}")
        self._write(plan, self._with_texts(plan_to_json(answer.plan), answer.plan.cannot))
        self._summarise(answer)

    def _with_texts(self, content: dict[str, object], hopeless: tuple[Hopeless, ...]) -> dict[str, object]:
        """Put what is said of jobs that cannot be into words beside it."""
        for name in ("impossible", "cannot"):
            told = content.get(name, [])
            assert isinstance(told, list)  # noqa: S101  made above
            for kept, one in zip(told, hopeless, strict=False):
                kept["text"] = self._said(one)
        return content

    def _said(self, one: Hopeless) -> str:
        """Put it into words; the file names no time zone, so that instants go by a clock that is never changed."""
        with saying_for(Mill(time_zone="UTC")):
            return say(self._dated(said) for said in one.said)

    def _dated(self, said: Sentence) -> Sentence:
        begin = datetime.combine(self._asked.origin, datetime.min.time(), UTC)

        def dated(name: str, value: Value) -> Value:
            if isinstance(value, int) and name.endswith("_at"):
                return begin + timedelta(minutes=value)
            if isinstance(value, tuple):
                return tuple(self._dated(item) if isinstance(item, Sentence) else item for item in value)
            return value

        return Sentence(said.code, tuple((name, dated(name, value)) for name, value in said.values))

    def _begun(self, plan: Path) -> Plan | None:
        """Read the plan that an earlier run left there, if it holds."""
        try:
            begun = read_plan(plan.read_bytes())
        except (OSError, FaultyFileError):
            return None
        return begun if isinstance(begun, Plan) and check(self._asked, begun).holds else None

    def _stop(self, *_signal: object) -> None:
        self._wants_stop = True

    def _look_up(self) -> bool:
        """Keep what is better by now, and say whether to come to an end; asked several times a second."""
        self._keep_best()
        return self._wants_stop

    def _keep_best(self) -> None:
        """Write the best plan so far: whoever ends this run, or its machine, finds it there."""
        began, better = time.monotonic(), self._better
        if better is None or began < self._keep_next:
            return
        self._better = None
        best = better.best()
        if check(self._asked, best).holds:
            self._kept_cents = better.total_cents
            self._write(self._path, plan_to_json(best))
        took = time.monotonic() - began
        self._keep_next = began + max(KEEP_EVERY_S, took / MOST_SHARE_KEEPING)

    def _tell(self, progress: Progress) -> None:
        """Keep a better plan, and say how far it is, at most twice a second."""
        if progress.total_cents < self._kept_cents:
            self._better = progress
        self._keep_best()
        if progress.seconds - self._told < 0.5:
            return
        self._told = progress.seconds
        if self._as_json:
            told = {
                "seconds": round(progress.seconds, 1),
                "cost_cents": progress.total_cents,
                "bound_cents": progress.bound_cents,
            }
            self.stderr.write(json.dumps(told))
        else:
            self.stderr.write(
                f"{progress.seconds:7.1f} s  cost {progress.total_cents / 100:,.2f}  at least "
                f"{progress.bound_cents / 100:,.2f}  gap {progress.gap:.2%}  {progress.step}"
            )

    def _summarise(self, answer: Answer) -> None:
        assert answer.plan is not None  # noqa: S101  said only of a plan
        if self._as_json:
            told = {
                "is_best": answer.is_best,
                "due_date_cents": answer.due_date_cents,
                "greedy_cents": answer.greedy_cents,
                "failure": answer.failure,
            }
            self.stderr.write(json.dumps(told))
            return
        if answer.failure:
            self.stderr.write(f"the solver ended early: {answer.failure}")
        total, bound = answer.plan.cost.total, answer.plan.bound_cents
        proof = "proven best" if answer.is_best else f"proven to cost at least {bound / 100:,.2f}"
        self.stderr.write(f"{len(answer.plan.jobs)} jobs placed, cost {total / 100:,.2f}, {proof}")
        for name, cents in (("due dates", answer.due_date_cents), ("cost alone", answer.greedy_cents)):
            if cents is not None:
                self.stderr.write(f"by rule of thumb ({name}): {cents / 100:,.2f}")

    def _write(self, path: Path, content: dict[str, object]) -> None:
        """Write in one piece: whoever reads meanwhile sees the old file or the new one."""
        try:
            with tempfile.NamedTemporaryFile("w", dir=path.parent, suffix=".part", delete=False) as file:
                json.dump(content, file)
                file.flush()
                os.fsync(file.fileno())
            Path(file.name).chmod(0o644)
            Path(file.name).replace(path)
        except OSError as error:
            self._leave(FAULTY, f"{path}: {error.strerror}")

    def _leave(self, code: int, *lines: str) -> NoReturn:
        for line in lines:
            self.stderr.write(line)
        sys.exit(code)
