"""The readings around a firing, few enough to be kept with it: what its picture is drawn from."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from maintenance.watches.calculations.charge_rules import Seen
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rule_kinds import Disagreement, KOfN, Limit
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.specs import needed_quantities, used_keys
from plant.models import Channel, Kiln
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.charge_figures import figure_unit
from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.climate_signals import lookback_minutes, signal_values, unit_of
from plant.readings.calculations.climate_view import View
from plant.readings.charge_figures import figures_until, usual_of
from plant.readings.spans import load_frame

HOUR_S = 3600
LEAST_AROUND_S, MOST_AROUND_S = 6 * HOUR_S, 36 * HOUR_S
MOST_LINES = 4
# Each slice keeps its lowest and highest value: 200 points a line.
SLICES = 100
CHARGES_SHOWN = 40
CHARGES_BACK_S = 400 * 86_400


def keys_used(spec: WatchSpec, kiln: Kiln) -> frozenset[str]:
    """Return the channels of a kiln whose readings bear upon what a watch sees."""
    return used_keys(spec, (channel.key for channel in Channel.objects.filter(kiln=kiln)))


def around(seen: Seen) -> tuple[int, int]:
    """Return the span that a picture shows: as long before and after as the watch took to be sure, 6 to 36 hours."""
    length_s = min(max(seen.begin_s - seen.since_s, LEAST_AROUND_S), MOST_AROUND_S)
    first_s = max(seen.since_s, seen.begin_s - MOST_AROUND_S) - length_s
    return first_s // 60 * 60, (seen.begin_s + length_s) // 60 * 60


def picture_of(kiln: Kiln, spec: WatchSpec, seen: Seen, until_s: int) -> dict[str, Any]:
    """Return what a picture of a firing is drawn from, as far as readings are settled; JSON can keep it."""
    if spec.is_per_charge:
        return _of_charges(kiln, spec, seen)
    first_s, last_s = around(seen)
    shown_s = min(last_s, until_s)
    lookback_s = lookback_minutes(spec.signal) * 60
    keys = keys_used(spec, kiln)
    frame = load_frame(kiln, first_s - lookback_s, max(shown_s, first_s) + 60, keys=keys)
    view = View(frame, usual_of(kiln, first_s))
    skip = lookback_s // 60
    lines = [_line(spec.signal, unit_of(spec.signal), signal_values(spec.signal, view)[skip:], is_signal=True)]
    for key in _beside(spec, keys)[: MOST_LINES - 1]:
        quantity, _colon, place = key.partition(":")
        lines.append(_line(key, QUANTITIES[quantity].unit, view.at(quantity, place)[skip:]))
    return {
        "from_s": first_s,
        "until_s": last_s,
        "is_whole": shown_s >= last_s,
        "count": len(frame) - skip,
        "limits": _limits(spec),
        "lines": lines,
    }


def _limits(spec: WatchSpec) -> list[float]:
    """Return what to draw across the first line; a disagreement counts on both sides."""
    if isinstance(spec.rule, Disagreement):
        return [spec.rule.limit, -spec.rule.limit]
    return [spec.rule.limit] if isinstance(spec.rule, Limit | KOfN | Trend) else []


def _beside(spec: WatchSpec, keys: Iterable[str]) -> list[str]:
    """Return the channels to show beside the signal: what it is made from, at its own place first."""
    needs = needed_quantities(spec)
    made_from = [
        key for key in keys if key in needs or key.partition(":")[0] in {one.partition(":")[0] for one in needs}
    ]
    return sorted(
        (key for key in made_from if key != spec.signal), key=lambda key: (key.partition(":")[2] != spec.place, key)
    )


def _line(key: str, unit: str, values: Values, *, is_signal: bool = False) -> dict[str, Any]:
    """Thin a line to the lowest and highest known value of each slice; None where a slice knows nothing."""
    lows: list[float | None] = []
    highs: list[float | None] = []
    for part in np.array_split(values, min(SLICES, len(values))):
        known = part[np.isfinite(part)]
        lows.append(round(float(known.min()), 3) if len(known) else None)
        highs.append(round(float(known.max()), 3) if len(known) else None)
    return {"key": key, "unit": unit, "is_signal": is_signal, "low": lows, "high": highs}


def _of_charges(kiln: Kiln, spec: WatchSpec, seen: Seen) -> dict[str, Any]:
    last_s = max(seen.begin_s, seen.end_s or seen.begin_s)
    found = figures_until(kiln, spec.signal, last_s - CHARGES_BACK_S, last_s)[-CHARGES_SHOWN:]
    return {
        "is_whole": True,
        "limits": _limits(spec),
        "unit": figure_unit(spec.signal),
        "charges": [[number, ran_s, round(value, 3)] for ran_s, value, number in found],
        "crosses_s": [seen.earliest_s, seen.crosses_s, seen.latest_s],
    }
