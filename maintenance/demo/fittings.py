"""What sat where, and why it came out: the years before the records by chance, then what the stops tell."""

from collections import defaultdict
from datetime import datetime, timedelta

from maintenance.demo.world import HOUR, UPKEEP_HOURS, KilnStory, Row, Stop, World, next_slot

# Component kind -> scale in days and shape of a Weibull law of its lives, the part, and how it fails. Invented.
LIVES = {
    "fan-motor": (1150, 1.9, "bearing-6206", "motor-bearing-worn"),
    "door-seal": (1000, 2.6, "door-seal-32", "door-seal-torn"),
    "heating-valve": (1900, 1.7, "valve-kit-40", "heating-valve-leaks"),
    "spray-valve": (1500, 1.5, "spray-kit-25", "spray-valve-stuck"),
    "thermometer": (1700, 1.1, "pt100-3m", "thermometer-open"),
    "humidity-sensor": (900, 1.6, "rh-probe", "humidity-sensor-drifts"),
    "flap-drive": (2100, 1.4, "flap-actuator-24", "flap-drive-dead"),
    "steam-trap": (1300, 1.3, "trap-15", "trap-blocked"),
    "fan-reversal": (1600, 1.8, "contactor-rev", "reversal-contactor-burnt"),
    "emc-plate": (800, 1.4, "emc-holder-std", "emc-contact-corroded"),
}
LIFE_YEARS = 7
# What has stood for so much of its usual life is exchanged at an overhaul, before it fails.
EXCHANGED_AT = 0.9


def fitting_rows(world: World, stories: list[KilnStory]) -> list[Row]:
    """Return the lives of what wears out, over the last years."""
    rows: list[Row] = []
    for story in stories:
        stops: dict[str, list[Stop]] = defaultdict(list)
        for stop in sorted(story.stops, key=lambda stop: stop.start):
            if stop.pattern.get("is_exchange") == "yes" and stop.end is not None:
                stops[stop.component].append(stop)
        overhauls = sorted(s.end for s in story.stops if s.kind == "planned" and s.end and s.end <= world.now)
        for component in world.components_of(story.tag):
            if component["kind"] in LIVES:
                rows += _lives(world, component, stops[component["tag"]], overhauls)
    return rows


def _lives(world: World, component: Row, stops: list[Stop], overhauls: list[datetime]) -> list[Row]:
    scale, shape, part, failure_mode = LIVES[component["kind"]]
    dice = world.dice("lives", component["kiln"], component["tag"])
    at = world.at(-round(365 * LIFE_YEARS * dice.uniform(0.8, 1.0)), 10)
    lives = [_fitted(component, part, at)]

    def come_out(out: datetime, why: str, mode: str = "", new_part: str = part) -> None:
        lives[-1] |= {"removed_at": out, "removal": why, "failure_mode": mode}
        lives.append(_fitted(component, new_part, out))

    while True:
        out = next_slot(at + timedelta(days=max(dice.weibullvariate(scale, shape), 20)), 2, UPKEEP_HOURS)
        if out >= world.start:
            break
        why = dice.choices(("failed", "worn", "planned"), (5, 3, 2))[0]
        come_out(out, why, failure_mode if why == "failed" else "")
        at = out
    ends = [(stop.end, stop) for stop in stops if stop.end is not None]
    for when, stop in sorted([*ends, *((end, None) for end in overhauls)], key=lambda event: event[0]):
        if stop is not None:
            come_out(when, "failed", stop.pattern["failure_mode"], stop.pattern["part"])
        elif when - lives[-1]["fitted_at"] > timedelta(days=EXCHANGED_AT * scale):
            come_out(when - HOUR, "planned")
    return lives


def _fitted(component: Row, part: str, at: datetime) -> Row:
    return {"kiln": component["kiln"], "component": component["tag"], "part_code": part, "fitted_at": at}
