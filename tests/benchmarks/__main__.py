"""Run benchmarks: ``python -m tests.benchmarks [NAME ...] [--json] [--again]``."""

import argparse
import sys
from collections.abc import Sequence

from tests.benchmarks.harness import BenchmarkError, Measured, chosen, report, run_benchmark


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmarks named (or all), print a line each; 1 if one falls short, 2 if one cannot be run."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Measure against a baseline.")
    parser.add_argument("names", nargs="*", metavar="NAME", help="benchmarks to run; all if none is named")
    parser.add_argument("--json", action="store_true", help="print the measurements as JSON")
    parser.add_argument(
        "--again", action="store_true", help="measure what falls short once more: a busy machine can spoil one run"
    )
    options = parser.parse_args(arguments)
    measured: list[Measured] = []
    try:
        for name in chosen(options.names):
            found = run_benchmark(name)
            if options.again and not all(one.holds for one in found):
                found = run_benchmark(name)
            measured += found
            if not options.json:
                sys.stdout.write(report(found, as_json=False) + "\n")
                sys.stdout.flush()
    except BenchmarkError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    if options.json:
        sys.stdout.write(report(measured, as_json=True) + "\n")
    return 0 if all(one.holds for one in measured) else 1


if __name__ == "__main__":
    sys.exit(main())
