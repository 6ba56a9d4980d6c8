"""The charges of each kiln, and the times in which it was down."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from maintenance.demo.world import (
    HOUR,
    LOADING_HOURS,
    UPKEEP_HOURS,
    ZONE,
    Charge,
    KilnStory,
    Row,
    Stop,
    World,
    next_slot,
    quarters,
    read_static,
    to_quarter,
)


@dataclass(frozen=True)
class Recipe:
    """What is dried, and how long each phase takes in hours. Invented, in the usual range for the timber."""

    species: str
    thickness_mm: int
    initial_mc_pct: int
    final_mc_pct: int
    heating_up_h: float
    drying_h: float
    conditioning_h: float
    cooling_h: float


SOFTWOOD = (
    Recipe("spruce", 25, 75, 14, 7, 52, 5, 4),
    Recipe("spruce", 50, 70, 18, 9, 96, 8, 6),
    Recipe("pine", 38, 80, 16, 8, 78, 7, 5),
    Recipe("pine", 63, 80, 16, 10, 146, 10, 7),
    Recipe("larch", 40, 55, 14, 9, 126, 10, 6),
)
MIXED = (
    Recipe("pine", 32, 80, 12, 7, 66, 8, 5),
    Recipe("birch", 32, 65, 9, 8, 144, 10, 6),
    Recipe("larch", 27, 55, 12, 8, 92, 8, 5),
)
HARDWOOD = (Recipe("oak", 27, 45, 9, 24, 470, 26, 12), Recipe("ash", 40, 40, 9, 18, 350, 22, 10))
RECIPES = {"K5": MIXED, "K6": HARDWOOD, "K8": MIXED}
BASE_H = {"K1": 78200, "K2": 76900, "K3": 121400, "K4": 61800, "K5": 49300, "K6": 31200, "K7": 97600, "K8": 69100}

STOPS_PER_DRYING_DAY = 0.13
NO_TIMBER_CHANCE = 0.05
BY_DAY_CHANCE, DAY_WORK_H = 0.92, 4.5
# Days from the demo's day on which each kiln is overhauled; the last ones lie ahead.
OVERHAULS = ((-331, 62), (-147, 54), (23, 36))
STOPPED_KILN = "K3"
STOPPED_SINCE = (-1, 16 + 20 / 60)
EXCHANGED_KILN, EXCHANGED_DAY = "K5", -137
TRIES = 100


def make_story(world: World, kiln: Row) -> KilnStory:
    """Return a kiln's story; of several, the first that shows what this kiln is to show on the demo's morning."""
    wanted = WANTED.get(kiln["tag"], _anything)
    story = _Teller(world, kiln, 0).tell()
    for other in range(1, TRIES):
        if wanted(world, story):
            break
        story = _Teller(world, kiln, other).tell()
    if kiln["tag"] == EXCHANGED_KILN:
        story.exchanged = world.at(EXCHANGED_DAY, 10.5)
    if kiln["tag"] == STOPPED_KILN:
        _stop_now(world, story)
    return story


def _is_drying(world: World, story: KilnStory, at: datetime, left_h: float = 20) -> bool:
    charge = story.charge_at(at)
    if charge is None:
        return False
    drying_from = charge.starts()["drying"]
    return drying_from < at and charge.starts()["conditioning"] > at + left_h * HOUR


def _is_empty_now(world: World, story: KilnStory) -> bool:
    return any(start < world.now - HOUR and world.now + 4 * HOUR < end for start, end in story.openings())


def _opens_today(world: World, story: KilnStory) -> bool:
    return any(
        world.now + 2 * HOUR < start < world.now + 6 * HOUR and end > start + 5 * HOUR
        for start, end in story.openings()
    )


def _is_cooling(world: World, story: KilnStory) -> bool:
    charge = story.charge_at(world.now)
    return charge is not None and charge.starts()["cooling"] < world.now < charge.closed_until - 2 * HOUR


def _is_conditioning(world: World, story: KilnStory) -> bool:
    charge = story.charge_at(world.now)
    return charge is not None and charge.starts()["conditioning"] < world.now < charge.starts()["cooling"] - HOUR


def _anything(world: World, story: KilnStory) -> bool:
    return True


# What the kilns page shows on the first morning.
WANTED: dict[str, Callable[[World, KilnStory], bool]] = {
    "K1": _opens_today,
    "K2": _is_empty_now,
    "K3": lambda world, story: _is_drying(world, story, world.at(*STOPPED_SINCE), left_h=30),
    "K5": lambda world, story: (
        _is_drying(world, story, world.at(-2, 9)) and story.charge_at(world.now) is story.charge_at(world.at(-2, 9))
    ),
    "K7": _is_conditioning,
    "K8": _is_cooling,
}


class _Teller:
    """Tells one kiln's story from the first charge to the last."""

    def __init__(self, world: World, kiln: Row, attempt: int) -> None:
        self.world, self.tag = world, kiln["tag"]
        self.usable_m3 = float(kiln["usable_m3"])
        self.dice = world.dice("charges", self.tag, str(attempt))
        self.begin = world.start + self.dice.uniform(0, 40) * HOUR
        self.recipes = RECIPES.get(self.tag, SOFTWOOD)
        self.charges: list[Charge] = []
        self.stops: list[Stop] = []
        kinds = {component["kind"] for component in world.components_of(self.tag)}
        self.patterns = [row for row in read_patterns() if row["component_kind"] in kinds]
        number = int(self.tag[1:])
        self.overhauls = [(world.at(days + 5 * number, 7), hours) for days, hours in OVERHAULS]

    def tell(self) -> KilnStory:
        """Go on until well beyond the horizon."""
        last = self.world.at(self.world.ahead_days)
        earliest = self.begin
        while earliest < last:
            charge = self._charge(earliest)
            self.charges.append(charge)
            earliest = self._opening(charge.end)
        return KilnStory(self.tag, self.charges, self.stops, float(BASE_H[self.tag]))

    def _charge(self, earliest: datetime) -> Charge:
        dice = self.dice
        recipe = dice.choice(self.recipes)
        loading_h, unloading_h = dice.choice((2.0, 2.25, 2.5, 2.75)), dice.choice((1.5, 1.75, 2.0))
        begin = next_slot(earliest, loading_h, LOADING_HOURS)
        lengths = {
            "loading": quarters(loading_h),
            "heating_up": quarters(recipe.heating_up_h * dice.uniform(0.9, 1.15)),
            "drying": quarters(recipe.drying_h * dice.uniform(0.93, 1.1)),
            "conditioning": quarters(recipe.conditioning_h * dice.uniform(0.9, 1.1)),
            "cooling": quarters(recipe.cooling_h),
            "unloading": quarters(unloading_h),
        }
        self._until_unloading(begin, lengths)
        planned_end = begin + sum(lengths.values(), timedelta())
        if begin < self.world.now:
            lengths["drying"] += quarters(max(dice.gauss(0.5, 1.5), 0.25)) + self._stops_while_drying(begin, lengths)
            self._until_unloading(begin, lengths)
        year = begin.astimezone(ZONE).year
        charge = Charge(
            number=f"{year % 100:02d}-{len(self.charges) + 1:03d}",
            species=recipe.species,
            thickness_mm=recipe.thickness_mm,
            volume_m3=round(self.usable_m3 * dice.uniform(0.9, 0.99), 1),
            initial_mc_pct=recipe.initial_mc_pct + dice.randint(-6, 6),
            final_mc_pct=recipe.final_mc_pct,
            begin=begin,
            planned_begin=begin - dice.choice((0, 0, 0, 1, 2)) * HOUR if begin < self.world.now else begin,
            planned_end=planned_end,
            lengths=lengths,
        )
        if charge.end > self.world.now:
            left_h = (charge.end - max(begin, self.world.now)) / HOUR
            charge.end_spread_h = round(max(1.0, 0.05 * left_h), 1)
        return charge

    def _until_unloading(self, begin: datetime, lengths: dict[str, timedelta]) -> None:
        """Let the charge cool on until somebody is there to unload it."""
        cooled = begin + sum((lengths[kind] for kind in lengths if kind != "unloading"), timedelta())
        lengths["cooling"] += next_slot(cooled, lengths["unloading"] / HOUR, LOADING_HOURS) - cooled

    def _stops_while_drying(self, begin: datetime, lengths: dict[str, timedelta]) -> timedelta:
        """Let things fail while it dries; return by how much that delays it."""
        drying_from = begin + lengths["loading"] + lengths["heating_up"]
        drying_until = drying_from + lengths["drying"]
        delay, at = timedelta(), drying_from
        while True:
            at += self.dice.expovariate(STOPS_PER_DRYING_DAY) * 24 * HOUR
            at = to_quarter(at)
            if at > min(drying_until, self.world.now - 30 * HOUR):
                return to_quarter(self.world.start + delay) - self.world.start
            stop = self._stop(at)
            if stop.end is None or stop.end > self.world.now - 2 * HOUR:
                continue
            self.stops.append(stop)
            delay += (stop.end - stop.start) * stop.share_lost
            at = stop.end + 6 * HOUR

    def _stop(self, at: datetime) -> Stop:
        pattern = self.dice.choices(self.patterns, [float(row["weight"]) for row in self.patterns])[0]
        component = self.dice.choice(self.world.components_of(self.tag, pattern["component_kind"]))
        hours = max(0.5, min(float(pattern["median_h"]) * self.dice.lognormvariate(0, 0.55), 70))
        return Stop(
            "unplanned",
            at,
            at + timedelta(minutes=5 * round(hours * 12)),
            component["tag"],
            pattern["failure_mode"],
            pattern["cause"],
            share_lost=float(pattern["share_lost"]),
        )

    def _opening(self, end: datetime) -> datetime:
        """Return when the next charge may begin; some openings are overhauls, some wait for timber."""
        if self.overhauls and self.overhauls[0][0] < end + 30 * HOUR:
            _, overhaul_h = self.overhauls.pop(0)
            if end > self.world.start + 20 * 24 * HOUR:
                start = next_slot(end + HOUR, 4, LOADING_HOURS)
                announced = start - timedelta(days=self.dice.randint(31, 60))
                cause = "Overhaul: doors, flaps, coils and fans"
                stop = Stop("planned", start, start + quarters(overhaul_h), cause=cause, announced=announced)
                self.stops.append(stop)
                return start + quarters(overhaul_h + 2)
        dice = self.dice
        if dice.random() < NO_TIMBER_CHANCE and end < self.world.now - timedelta(days=6):
            hours = dice.uniform(18, 60)
            start = to_quarter(end + 4 * HOUR)
            begin = next_slot(start + hours * HOUR, 3, LOADING_HOURS)
            self.stops.append(Stop("no_timber", start, begin, cause="No timber of the right thickness in the yard"))
            return begin
        spans = ((4.0, 8.0), (8.0, 16.0), (16.0, 28.0))
        begin = end + dice.uniform(*dice.choices(spans, (6, 3, 1))[0]) * HOUR
        by_day = next_slot(end + HOUR / 2, DAY_WORK_H, UPKEEP_HOURS) + DAY_WORK_H * HOUR
        # The yard leaves the crew some hours of daylight where that costs no more than a night.
        if dice.random() < BY_DAY_CHANCE and by_day < end + 40 * HOUR:
            begin = max(begin, by_day)
        return begin


def read_patterns() -> list[dict[str, str]]:
    """Return what fails at this mill, how, and for how long."""
    if not _PATTERNS:
        _PATTERNS.extend(read_static("stop_patterns"))
    return _PATTERNS


_PATTERNS: list[dict[str, str]] = []


def _stop_now(world: World, story: KilnStory) -> None:
    """Let one kiln stand still since yesterday afternoon, its charge held and those behind it pushed along."""
    since = world.at(*STOPPED_SINCE)
    story.stops = [stop for stop in story.stops if stop.end is None or stop.end <= since]
    future = [stop for stop in story.stops if stop.start > world.now]
    story.stops.append(
        Stop("unplanned", since, None, "fan-motor-2", "motor-bearing-worn", "Bearing of fan motor 2 seized")
    )
    story.stops += future
    held = story.charge_at(since)
    if held is not None:
        held.lengths["drying"] += quarters(min(24.0, _slack_h(story, held)))


def _slack_h(story: KilnStory, charge: Charge) -> float:
    """Return by how many hours a charge can end later before the next one begins."""
    following = [after.begin for after in story.charges if after.begin > charge.begin]
    return max((following[0] - charge.end) / HOUR - 4, 0.25) if following else 24.0


def charge_rows(world: World, stories: list[KilnStory]) -> list[Row]:
    """Return the rows of the charges file."""
    rows = []
    for story in stories:
        for charge in story.charges:
            basis = "done" if charge.end <= world.now else "running" if charge.begin <= world.now else "planned"
            rows.append(
                {
                    "kiln": story.tag,
                    "basis": basis,
                    "begin_at": charge.begin,
                    "end_at": charge.end,
                    "planned_begin_at": charge.planned_begin,
                    "planned_end_at": max(charge.planned_end, charge.planned_begin + HOUR),
                    **{
                        name: getattr(charge, name)
                        for name in (
                            "number",
                            "species",
                            "thickness_mm",
                            "volume_m3",
                            "initial_mc_pct",
                            "final_mc_pct",
                            "end_spread_h",
                        )
                    },
                    **{f"{kind}_h": length / HOUR for kind, length in charge.lengths.items() if kind != "drying"},
                }
            )
    return rows


def downtime_rows(stories: list[KilnStory]) -> list[Row]:
    """Return the rows of the downtime file."""
    return [
        {
            "kiln": story.tag,
            "kind": stop.kind,
            "start_at": stop.start,
            "end_at": stop.end,
            "component": stop.component,
            "failure_mode": stop.failure_mode,
            "announced_at": stop.announced,
            "share_lost": stop.share_lost,
            "cause": stop.cause,
        }
        for story in stories
        for stop in sorted(story.stops, key=lambda stop: stop.start)
    ]


def meter_rows(world: World, stories: list[KilnStory]) -> list[Row]:
    """Return a reading a month, and both readings of an exchange."""
    rows = []
    for story in stories:
        for days in [*range(-round(world.months * 30.44) + 3, -2, 30), 0]:
            at = world.at(days, 6)
            rows.append({"kiln": story.tag, "read_at": at, "running_h": story.shown_h(at), "is_new_meter": False})
        if story.exchanged is not None:
            last = {"kiln": story.tag, "read_at": story.exchanged, "running_h": story.running_h(story.exchanged)}
            rows += [last | {"is_new_meter": False}, last | {"running_h": 0.0, "is_new_meter": True}]
    return rows
