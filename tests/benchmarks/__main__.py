"""Run benchmarks: ``python -m tests.benchmarks [NAME ...] [--but NAME ...] [--json] [--again]``."""

import argparse
import sys
import time
import traceback
from collections.abc import Sequence

from tests.benchmarks.harness import BenchmarkError, Measured, as_json, chosen, run_benchmark


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmarks named (or all) and print each line as it ends.

    1 if a line fails, 2 if a benchmark cannot be run; the others are run all the same.
    """
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Measure against a baseline.")
    parser.add_argument("names", nargs="*", metavar="NAME", help="benchmarks to run; all if none is named")
    parser.add_argument("--but", nargs="+", default=[], metavar="NAME", help="benchmarks to leave out")
    parser.add_argument("--json", action="store_true", help="print the measurements as JSON at the end")
    parser.add_argument(
        "--again", action="store_true", help="measure once more what fails: a busy machine can spoil one run"
    )
    options = parser.parse_args(arguments)
    measured: list[Measured] = []
    broken = 0
    try:
        left_out = chosen(options.but) if options.but else []
        names = [name for name in chosen(options.names) if name not in left_out]
    except BenchmarkError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    for name in names:
        try:
            found = _run(name, is_quiet=options.json)
            if options.again and any(one.fails for one in found):
                sys.stderr.write(f"{name} once more:\n")
                found = _run(name, is_quiet=options.json)
            measured += found
        except BenchmarkError as error:
            sys.stderr.write(f"{name}: {error}\n")
            broken += 1
        except Exception:  # noqa: BLE001 - whatever it is, the others are measured, and the end is 2
            sys.stderr.write(f"{name}:\n{traceback.format_exc()}")
            broken += 1
    if options.json:
        sys.stdout.write(as_json(measured) + "\n")
    return 2 if broken else int(any(one.fails for one in measured))


def _run(name: str, *, is_quiet: bool) -> list[Measured]:
    """Run one, and say what each line is, and what the whole took."""
    began = time.process_time()
    found = []
    for one in run_benchmark(name):
        found.append(one)
        if not is_quiet:
            sys.stdout.write(one.line() + "\n")
            sys.stdout.flush()
    sys.stderr.write(f"{name}: {time.process_time() - began:.0f} s of the processor\n")
    return found


if __name__ == "__main__":
    sys.exit(main())
