"""What a benchmark gives back, and how it is measured, found and printed."""

import gc
import importlib
import json
import pkgutil
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import TypeVar

import tests.benchmarks

PREFIX = "bench_"
#: What takes long is run only where it is named.
LONG = "long_"
NAME_WIDTH, TARGET_WIDTH = 82, 20
#: A line that rests on the clock fails the whole only where it misses its target by more than this.
SLACK = 1.5
Result = TypeVar("Result")


class BenchmarkError(Exception):
    """A benchmark that cannot be run, or whose two results differ."""


@dataclass(frozen=True)
class Target:
    """The least and the most that a ratio may be; without either it is told and not judged.

    `rests_on_clock` says that times of this machine are in the ratio, which then strays on a busy day.
    """

    least: float | None = None
    most: float | None = None
    rests_on_clock: bool = False

    def missed_by(self, ratio: float) -> float:
        """Say how many times the ratio is too great or too small; at most 1 where the target is met."""
        over = 0.0 if self.most is None else _times(ratio, self.most)
        under = 0.0 if self.least is None else _times(self.least, ratio)
        return max(over, under)

    def __str__(self) -> str:
        if self.least is None and self.most is None:
            return "is told"
        if self.most is None:
            return f"at least {self.least:.4g}"
        if self.least is None:
            return f"at most {self.most:.4g}"
        return f"{self.least:.4g}" if self.least == self.most else f"{self.least:.4g} to {self.most:.4g}"


def at_least(least: float) -> Target:
    """Ask for a ratio of times that is no smaller."""
    return Target(least=least, rests_on_clock=True)


def at_most(most: float) -> Target:
    """Ask for a ratio of times that is no greater."""
    return Target(most=most, rests_on_clock=True)


@dataclass(frozen=True)
class Measured:
    """One line of the benchmark.

    `ours` and `baseline` are in `unit`; `ratio` is what `target` speaks of. `note` is for information only.
    """

    name: str
    ours: float
    baseline: float
    unit: str
    ratio: float
    target: Target
    note: str = ""

    @property
    def holds(self) -> bool:
        """Whether the target is met."""
        return self.target.missed_by(self.ratio) <= 1

    @property
    def fails(self) -> bool:
        """Whether it is missed by more than a busy machine explains."""
        return self.target.missed_by(self.ratio) > (SLACK if self.target.rests_on_clock else 1)

    def line(self) -> str:
        """Say the measurement in one line; the columns of several lines stand under each other."""
        verdict = "holds" if self.holds else "falls short"
        return (
            f"{self.name:<{NAME_WIDTH}}  ours {self.ours:>6.3g} {self.unit:<7}  "
            f"baseline {self.baseline:>6.3g} {self.unit:<7}  ratio {self.ratio:>5.3g}  "
            f"target {self.target!s:<{TARGET_WIDTH}}  {verdict:<11}  {self.note}"
        ).rstrip()


def _times(greater: float, less: float) -> float:
    """Divide; what is nothing against nothing is met, and anything against nothing missed."""
    if less == 0:
        return 1.0 if greater == 0 else float("inf")
    return greater / less


def timed(
    work: Callable[[], Result], repeats: int = 1, clock: Callable[[], float] = time.perf_counter
) -> tuple[float, Result]:
    """Run the work and give its shortest time in seconds by a clock, and its last result.

    The garbage collector rests meanwhile, so that neither side pays for what the other left behind.
    """
    best = float("inf")
    gc.collect()
    gc.disable()
    try:
        for _ in range(repeats):
            start = clock()
            result = work()
            best = min(best, clock() - start)
    finally:
        gc.enable()
    return best, result


def yardstick_s() -> float:
    """Measure this machine: processor seconds of a piece of Python such as pages are made of, of 20,000 rows.

    Where nothing else does the same work as ours, our time is told in these.
    """

    def work() -> int:
        rows = [{"number": n, "name": f"job {n}", "at": n * 7919 % 10007} for n in range(20_000)]
        rows.sort(key=lambda row: (row["at"], row["name"]))
        return sum(len(f"{row['name']:>12}|{row['at']:05d}") for row in rows)

    return timed(work, 5, time.process_time)[0]


def available() -> list[str]:
    """Name the benchmarks: every module bench_NAME.py beside this one."""
    modules = pkgutil.iter_modules(tests.benchmarks.__path__)
    return sorted(module.name.removeprefix(PREFIX) for module in modules if module.name.startswith(PREFIX))


def chosen(names: Sequence[str]) -> list[str]:
    """Give the benchmarks to run: those named, or all that do not take long.

    Raises
    ------
    BenchmarkError
        for a name that is none of them.
    """
    known = available()
    unknown = [name for name in names if name not in known]
    if unknown:
        raise BenchmarkError(f"unknown benchmark {', '.join(unknown)}: choose from {', '.join(known)}")
    return list(names) or [name for name in known if not name.startswith(LONG)]


def run_benchmark(name: str) -> Iterator[Measured]:
    """Run one benchmark, line by line."""
    module = importlib.import_module(f"{tests.benchmarks.__name__}.{PREFIX}{name}")
    measured: Iterable[Measured] = module.run()
    yield from measured


def as_json(measured: Sequence[Measured]) -> str:
    """Give all measurements as JSON, with the verdict."""
    return json.dumps([{**asdict(one), "holds": one.holds, "fails": one.fails} for one in measured], indent=2)
