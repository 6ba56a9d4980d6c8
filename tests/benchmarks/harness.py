"""What a benchmark gives back, and how it is measured, found and printed."""

import gc
import importlib
import json
import pkgutil
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import TypeVar

import tests.benchmarks

PREFIX = "bench_"
#: What takes long is run only where it is named.
LONG = "long_"
NAME_WIDTH, TARGET_WIDTH = 82, 20
Result = TypeVar("Result")


class BenchmarkError(Exception):
    """A benchmark that cannot be run, or whose two results differ."""


@dataclass(frozen=True)
class Measured:
    """One line of the benchmark.

    `ours` and `baseline` are in `unit`; `ratio` is what `target` speaks of; `holds` says whether it is met. `note` is
    for information only.
    """

    name: str
    ours: float
    baseline: float
    unit: str
    ratio: float
    target: str
    holds: bool
    note: str = ""

    def line(self) -> str:
        """Say the measurement in one line; the columns of several lines stand under each other."""
        verdict = "holds" if self.holds else "falls short"
        return (
            f"{self.name:<{NAME_WIDTH}}  ours {self.ours:>6.3g} {self.unit:<7}  "
            f"baseline {self.baseline:>6.3g} {self.unit:<7}  ratio {self.ratio:>5.3g}  "
            f"target {self.target:<{TARGET_WIDTH}}  {verdict:<11}  {self.note}"
        ).rstrip()


def timed(work: Callable[[], Result], repeats: int = 1) -> tuple[float, Result]:
    """Run the work and give its shortest wall-clock time in seconds, and its last result.

    The garbage collector rests meanwhile, so that neither side pays for what the other left behind.
    """
    best = float("inf")
    gc.collect()
    gc.disable()
    try:
        for _ in range(repeats):
            start = time.perf_counter()
            result = work()
            best = min(best, time.perf_counter() - start)
    finally:
        gc.enable()
    return best, result


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


def run_benchmark(name: str) -> list[Measured]:
    """Run one benchmark."""
    module = importlib.import_module(f"{tests.benchmarks.__name__}.{PREFIX}{name}")
    measured: list[Measured] = module.run()
    return measured


def report(measured: Sequence[Measured], as_json: bool) -> str:
    """Give all measurements as lines, or as JSON."""
    if as_json:
        return json.dumps([asdict(one) for one in measured], indent=2)
    return "\n".join(one.line() for one in measured)
