"""The shipped watches over 200 simulated kiln-months with known faults, and their speed over ten million readings.

The watches were tuned on the seeds 1000 to 1049 and 2000 to 2049 (kilns of the same kind); what is reported here comes
from others.
"""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from maintenance.demo.chamber.faults import FaultKind
from maintenance.watches.calculations.rows import WatchSpec, for_kiln
from plant.readings.calculations.charge_figures import charge_figures
from plant.readings.calculations.climate_frame import Frame
from tests.benchmarks.harness import Measured, Target, at_most, timed
from tests.benchmarks.watched_kilns import (
    DAY_S,
    Raised,
    Watched,
    delay_h,
    first_due_to,
    is_right,
    kilns_with_faults,
    on_figures,
    part_of,
    shipped,
    spans_of_charges,
    trusted,
    watch,
)
from tests.maintenance.watches.watch_past import fired_over

SEED: Final = 7000
KILNS, DAYS = 67, 91
MONTH_DAYS: Final = 30.4375
LEAST_FOUND: Final = 0.95
MOST_FALSE: Final = 0.1
MOST_DELAY_H: Final = {FaultKind.WICK_DRY: 2.0, FaultKind.FAN_STOPPED: 0.5}
READINGS: Final = 10_000_000
MOST_TIMES_CUMSUM: Final = 20
REPEATS: Final = 3


def run() -> Iterator[Measured]:
    """Watch the kilns, print the table of faults and of watches, and measure speed."""
    specs = shipped()
    kilns = kilns_with_faults(SEED, KILNS, DAYS)
    for kiln in kilns:
        watch(kiln, specs)
    sys.stderr.write("\n".join([*_faults_table(kilns), "", *_watches_table(kilns, specs), ""]))
    yield _found(kilns)
    yield _false_orders(kilns)
    yield from _delays(kilns)
    yield _speed(kilns[0], specs)


def _months(kilns: Sequence[Watched]) -> float:
    return sum(len(kiln.run.phase) * kiln.run.step_s for kiln in kilns) / DAY_S / MONTH_DAYS


def _delays_of(kilns: Sequence[Watched], kind: FaultKind) -> list[float]:
    """Return the hours to the first right firing for each fault of a kind; infinite where there is none."""
    delays = []
    for kiln in kilns:
        for fault in kiln.faults:
            if fault.kind == kind:
                first = first_due_to(fault, kiln.raised)
                delays.append(np.inf if first is None else delay_h(kiln, fault, first))
    return delays


def _faults_table(kilns: Sequence[Watched]) -> list[str]:
    rows = ["| fault | injected | found | median delay | longest | with a work order |", "|---|---|---|---|---|---|"]
    for kind in FaultKind:
        delays = np.array(_delays_of(kilns, kind))
        if not len(delays):
            continue
        heard = delays[np.isfinite(delays)]
        ordered = sum(
            first_due_to(fault, kiln.orders) is not None
            for kiln in kilns
            for fault in kiln.faults
            if fault.kind == kind
        )
        middle, longest = (np.median(heard), heard.max()) if len(heard) else (np.nan, np.nan)
        name = kind.value.replace("_", " ")
        rows.append(
            f"| {name} | {len(delays)} | {len(heard) / len(delays):.0%} | {middle:.1f} h | {longest:.1f} h "
            f"| {ordered / len(delays):.0%} |"
        )
    return rows


def _watches_table(kilns: Sequence[Watched], specs: Sequence[WatchSpec]) -> list[str]:
    months = _months(kilns)
    right, wrong, orders = (Counter[str]() for _ in range(3))
    for kiln in kilns:
        for raised in kiln.raised:
            counts = right if any(is_right(raised, fault) for fault in kiln.faults) else wrong
            counts[raised.stem] += 1
        orders.update(order.stem for order in _false(kiln))
    rows = [
        "| watch | right firings | false firings per kiln-month | false work orders per kiln-month |",
        "|---|---|---|---|",
    ]
    for spec in specs:
        counted = right[spec.code], wrong[spec.code] / months, orders[spec.code] / months
        rows.append("| {} | {} | {:.3f} | {:.3f} |".format(spec.name, *counted))
    return rows


def _false(kiln: Watched) -> list[Raised]:
    return [order for order in kiln.orders if not any(is_right(order, fault) for fault in kiln.faults)]


def _found(kilns: Sequence[Watched]) -> Measured:
    delays = np.array([delay for kind in FaultKind for delay in _delays_of(kilns, kind)])
    share = float(np.isfinite(delays).mean())
    name = f"watches: share of {len(delays)} injected faults found over {_months(kilns):.0f} simulated kiln-months"
    return Measured(name, share, 1.0, "share", share, Target(least=LEAST_FOUND))


def _false_orders(kilns: Sequence[Watched]) -> Measured:
    months = _months(kilns)
    false = sum(len(_false(kiln)) for kiln in kilns) / months
    name = f"watches: false work orders per kiln-month over {months:.0f} simulated kiln-months"
    return Measured(name, false, 1.0, "orders", false, Target(most=MOST_FALSE))


def _delays(kilns: Sequence[Watched]) -> Iterator[Measured]:
    for kind, most_h in MOST_DELAY_H.items():
        delays = _delays_of(kilns, kind)
        longest = max(delays)
        name = f"watches: longest hours of running until a {kind.value.replace('_', ' ')} is found, of {len(delays)}"
        yield Measured(name, longest, most_h, "h", longest / most_h, Target(most=1))


def _speed(kiln: Watched, specs: Sequence[WatchSpec]) -> Measured:
    """Repeat a kiln's past until it has ten million readings; figures of its charges are computed and charted too."""
    frame = trusted(kiln.run)
    times = -(-READINGS // (len(frame.values) * len(frame)))
    values = {key: np.tile(value, times) for key, value in frame.values.items()}
    past = Frame(frame.start_s, frame.step_s, values, np.tile(frame.phase, times))
    own = for_kiln(specs, values)
    spans = [
        (first + n * len(frame), last + n * len(frame))
        for n in range(times)
        for first, last in spans_of_charges(kiln.run)
    ]
    codes = {spec.signal for spec in own if spec.is_per_charge}

    def ours() -> None:
        fired_over(own, past)
        figures = [(0, last * past.step_s, charge_figures(part_of(past, first, last), codes)) for first, last in spans]
        for spec in own:
            if spec.is_per_charge:
                list(on_figures(spec, figures, ()))

    base_s, _sums = timed(lambda: [np.cumsum(value) for value in values.values()], REPEATS)
    ours_s, _none = timed(ours, REPEATS)
    ratio = ours_s / base_s
    name = (
        f"all {len(own)} watches over {len(past) * len(values):,} readings, {len(spans)} charges, against numpy.cumsum"
    )
    return Measured(name, ours_s, base_s, "s", ratio, at_most(MOST_TIMES_CUMSUM))
