"""Processes that solve parts, so that two cores are used: each solves one part at a time and says what it finds."""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection, wait
from typing import Any

from .frame import Frame
from .model import Part
from .problem import Problem
from .state import JobAt, Stops
from .tasks import Found, Task


@dataclass(frozen=True)
class Order:
    """A part to be solved; `streams` asks for news while it is being solved.

    `seconds` of wall time are never exceeded, the making of the model among them; `effort` is the solver's own measure,
    13 to 30 s of a quiet core, and does not depend on what else the machine does.
    """

    number: int
    task: Task
    seconds: float
    effort: float
    seed: int
    is_whole: bool = False
    streams: bool = False


@dataclass(frozen=True)
class News:
    """What a worker says: a better plan of the part, a better bound, the end (`found`), or its own failure."""

    number: int
    at: dict[int, JobAt] | None = None
    stops: dict[int, Stops] | None = None
    bound: int | None = None
    found: Found | None = None
    failure: str = ""
    cpu_seconds: float = 0.0


class WorkerError(Exception):
    """A worker that has died or failed."""


class Workers:
    """A few processes of one solver thread each."""

    def __init__(self, problem: Problem, count: int) -> None:
        # A fresh interpreter each: a copy of a process that has threads or an open database is no good.
        context = multiprocessing.get_context("spawn")
        self.processes: list[Any] = []
        self.pipes: list[Connection] = []
        self.idle: list[int] = []
        for number in range(count):
            ours, theirs = context.Pipe()
            process = context.Process(target=_work, args=(theirs, problem), daemon=True)
            process.start()
            theirs.close()
            self.processes.append(process)
            self.pipes.append(ours)
            self.idle.append(number)

    def give(self, worker: int, order: Order) -> None:
        """Give an idle worker something to do."""
        self.idle.remove(worker)
        self.pipes[worker].send(order)

    def news(self, seconds: float) -> list[tuple[int, News]]:
        """Wait for news from any worker.

        Raises
        ------
        WorkerError
            when a worker has died.
        """
        heard = []
        for pipe in wait([self.pipes[number] for number in self.busy], max(0.0, seconds)):
            number = self.pipes.index(pipe)  # type: ignore[arg-type]
            try:
                news: News = self.pipes[number].recv()
            except (EOFError, OSError):
                raise WorkerError("a worker of the solver has died") from None
            if news.failure:
                raise WorkerError(news.failure)
            if news.found is not None:
                self.idle.append(number)
            heard.append((number, news))
        return heard

    @property
    def busy(self) -> list[int]:
        """Workers that are at it."""
        return [number for number in range(len(self.processes)) if number not in self.idle]

    def close(self) -> None:
        """End all processes at once."""
        for process in self.processes:
            process.terminate()
        for process in self.processes:
            process.join(2)
            if process.is_alive():
                process.kill()
        for pipe in self.pipes:
            pipe.close()


class Alone:
    """Solves in this very process, one part at a time: for small problems, and where no process may be started."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.idle = [0]
        self.busy: list[int] = []
        self.said: list[tuple[int, News]] = []

    def give(self, worker: int, order: Order) -> None:
        """Solve it now."""
        found = _solve(self.frame, order, lambda news: self.said.append((worker, news)))
        self.said.append((worker, found))
        self.idle, self.busy = [], [0]

    def news(self, seconds: float) -> list[tuple[int, News]]:
        """Say what was found."""
        said, self.said = self.said, []
        self.idle, self.busy = [0], []
        return said

    def close(self) -> None:
        """Nothing is left to be ended."""


def _work(pipe: Connection, problem: Problem) -> None:
    """Solve what comes, until the pipe is closed."""
    frame = Frame(problem)
    while True:
        try:
            order: Order = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            pipe.send(_solve(frame, order, pipe.send))
        except (BrokenPipeError, OSError):
            return
        except Exception as error:  # noqa: BLE001  said to the process that asked, which ends with it
            pipe.send(News(order.number, failure=f"{type(error).__name__}: {error}"))


def _solve(frame: Frame, order: Order, say: Callable[[News], None]) -> News:
    began, until = time.process_time(), time.monotonic() + order.seconds
    part = Part(frame, order.task)
    lock = threading.Lock()

    def tell(at: dict[int, JobAt] | None, stops: dict[int, Stops] | None, bound: int | None) -> None:
        if at is None and not order.is_whole:
            # Of a part, only its plans are of use before its end.
            return
        with lock:
            say(News(order.number, at, stops, bound, cpu_seconds=time.process_time() - began))

    found = part.solve(
        until - time.monotonic(),
        order.effort,
        seed=order.seed,
        is_whole=order.is_whole,
        tell=tell if order.streams else None,
    )
    took = time.process_time() - began
    return News(order.number, found=replace(found, cpu_seconds=took), cpu_seconds=took)
