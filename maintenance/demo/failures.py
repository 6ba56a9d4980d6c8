"""What failed at each kiln, when, and for how long; one of them gets worse and worse."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from maintenance.demo.world import HOUR, REPAIR_HOURS, Stop, World, next_slot, read_static, to_quarter

# Kiln -> stops and slowings in a year, and how long its stops last against the usual. Invented.
RATES = {
    "K1": (7.6, 2.4, 1.1),
    "K2": (6.8, 2.0, 0.85),
    "K3": (7.4, 2.6, 3.4),
    "K4": (8.5, 2.6, 1.8),
    "K5": (8.5, 2.0, 2.1),
    "K6": (7.2, 1.5, 1.6),
    "K7": (11.5, 2.8, 2.5),
    "K8": (9.2, 2.4, 1.6),
}
# The bearings of one kiln's fan motors fail ever faster: n(t) grows with this power of time (the power law of
# repairable systems), n being the failures in a year by now.
WORSENING_KILN, WORSENING_COMPONENT, WORSENING_RATE, WORSENING_POWER = "K3", "fan-motor-2", 6.0, 2.2
WORSENING_MODE = "motor-bearing-worn"
SHORTEST_H, LONGEST_H, LONGEST_SLOW_H = 2.0, 60.0, 200.0
LAST_BEFORE_NOW = 10 * HOUR


@dataclass(frozen=True)
class Failure:
    """Something that goes wrong; where the kiln is not drying then, while the charge before dries."""

    at: datetime
    hours: float
    component: str
    pattern: dict[str, str]

    @property
    def share_lost(self) -> float:
        """Return the share of capacity that it takes."""
        return float(self.pattern["share_lost"])

    def stop(self, at: datetime, latest: datetime) -> Stop:
        """Return the stop; a slowing is over when the charge is, a standstill when somebody is there to mend it."""
        end = to_quarter(at + self.hours * HOUR)
        end = min(end, latest) if self.share_lost < 1 else next_slot(end - HOUR, 1, REPAIR_HOURS) + HOUR
        return Stop(
            "unplanned", at, end, self.component, self.pattern, self.pattern["cause"], share_lost=self.share_lost
        )


def failures_of(world: World, kiln: str) -> list[Failure]:
    """Return what goes wrong at a kiln, the last first."""
    return sorted(_deal(world, kiln), key=lambda failure: failure.at, reverse=True)


def _deal(world: World, kiln: str) -> Iterator[Failure]:
    dice = world.dice("failures", kiln)
    kinds = {component["kind"] for component in world.components_of(kiln)}
    patterns = [row for row in read_static("stop_patterns") if row["component_kind"] in kinds]
    span, years = world.now - LAST_BEFORE_NOW - world.start, world.months / 12
    stops, slowings, slowness = RATES[kiln]
    for rate, is_stop in ((stops, True), (slowings, False)):
        own = [row for row in patterns if (float(row["share_lost"]) == 1) == is_stop]
        for _ in range(round(rate * years)):
            pattern = dice.choices(own, [float(row["weight"]) for row in own])[0]
            component = dice.choice(world.components_of(kiln, pattern["component_kind"]))["tag"]
            hours = float(pattern["median_h"]) * dice.lognormvariate(0, 0.6)
            hours = _within(hours * slowness, LONGEST_H) if is_stop else _within(hours, LONGEST_SLOW_H)
            yield Failure(instant(world.start + span * dice.random()), hours, component, pattern)
    if kiln == WORSENING_KILN:
        pattern = next(row for row in patterns if row["failure_mode"] == WORSENING_MODE)
        for _ in range(round(WORSENING_RATE * years)):
            at = instant(world.start + span * dice.random() ** (1 / WORSENING_POWER))
            yield Failure(at, _within(22 * dice.lognormvariate(0, 0.4), LONGEST_H), WORSENING_COMPONENT, pattern)


def _within(hours: float, longest: float) -> float:
    return max(SHORTEST_H, min(hours, longest))


def instant(at: datetime) -> datetime:
    """Return an instant as people write it down: rounded to five minutes."""
    return to_quarter(at) - timedelta(minutes=5) * (at.minute % 3)
