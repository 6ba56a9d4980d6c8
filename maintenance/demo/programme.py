"""The charges of each kiln, and the times in which it was down.

About the demo's day the programme is laid by hand (`ABOUT_TODAY`), so that at any hour of it the mill looks like one
at work. From there each kiln's story is told both ways: backwards into the past, with what failed, and forwards.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta

from maintenance.demo.failures import (
    WORSENING_COMPONENT,
    WORSENING_KILN,
    WORSENING_MODE,
    Failure,
    failures_of,
    instant,
)
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
    last_slot,
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


SPRUCE_25 = Recipe("spruce", 25, 75, 14, 7, 52, 5, 4)
SPRUCE_50 = Recipe("spruce", 50, 70, 18, 9, 96, 8, 6)
PINE_38 = Recipe("pine", 38, 80, 16, 8, 78, 7, 5)
PINE_63 = Recipe("pine", 63, 80, 16, 10, 146, 10, 7)
LARCH_40 = Recipe("larch", 40, 55, 14, 9, 126, 10, 6)
PINE_32 = Recipe("pine", 32, 80, 12, 7, 66, 8, 5)
BIRCH_32 = Recipe("birch", 32, 65, 9, 8, 144, 10, 6)
LARCH_27 = Recipe("larch", 27, 55, 12, 8, 92, 8, 5)
OAK_27 = Recipe("oak", 27, 45, 9, 24, 470, 26, 12)
ASH_40 = Recipe("ash", 40, 40, 9, 18, 350, 22, 10)
SOFTWOOD = (SPRUCE_25, SPRUCE_50, PINE_38, PINE_63, LARCH_40)
MIXED = (PINE_32, BIRCH_32, LARCH_27)
RECIPES = {"K5": MIXED, "K6": (OAK_27, ASH_40), "K8": MIXED}
BASE_H = {"K1": 78200, "K2": 76900, "K3": 121400, "K4": 61800, "K5": 49300, "K6": 31200, "K7": 97600, "K8": 69100}


@dataclass(frozen=True)
class Laid:
    """One opening of a kiln, as (days from the demo's day, hour), and the charges on both sides of it.

    Lengths in hours that are not given are those of a recipe; `is_weekday` moves it back to a working day.
    """

    opens: tuple[int, float]
    loads: tuple[int, float]
    before: dict[str, float]
    after: dict[str, float]
    recipe_after: Recipe | None = None
    is_weekday: bool = False


# At any hour of the day one or two chambers are open, one heats up (K6 all day: oak is warmed slowly), one cools
# (K1 until six, K8 until half past one, K7 from one o'clock on), and K3 stands with its charge. K1 is open in
# working hours, K8 from the afternoon until the next morning.
ABOUT_TODAY = {
    "K1": Laid((0, 7.75), (0, 17.5), {"cooling": 8, "unloading": 1.75}, {"loading": 2.25}),
    "K2": Laid((-1, 17.75), (0, 10.5), {"unloading": 2}, {"loading": 2.5}, PINE_38),
    "K3": Laid((-3, 10), (-3, 17), {"unloading": 2}, {"loading": 2.5}, LARCH_40),
    "K4": Laid((1, 17), (2, 9.5), {"unloading": 2}, {}),
    "K5": Laid((-4, 8.5), (-4, 16), {"unloading": 1.5}, {"loading": 2}, BIRCH_32, is_weekday=True),
    "K6": Laid((-2, 14), (-1, 17.5), {"unloading": 1.5}, {"loading": 2.25, "heating_up": 28}, OAK_27),
    "K7": Laid((1, 7.5), (1, 16.5), {"conditioning": 9, "cooling": 17, "unloading": 1.5}, {}),
    "K8": Laid((0, 15.25), (1, 10), {"cooling": 8, "unloading": 1.75}, {}),
}
STOPPED_KILN, STOPPED_SINCE, STOPPED_DELAY_H = WORSENING_KILN, (-1, 16 + 20 / 60), 36.0
NO_TIMBER_CHANCE, NO_TIMBER_H = 0.05, (18, 60)
BY_DAY_CHANCE, DAY_WORK_H, LONGEST_BY_DAY = 0.92, 4.5, 40 * HOUR
SPANS_H, SPAN_WEIGHTS = ((4.0, 8.0), (8.0, 16.0), (16.0, 28.0)), (6, 3, 1)
# Days from the demo's day on which each kiln is overhauled, and for how many hours; the last ones lie ahead.
OVERHAULS = ((-331, 62), (-147, 54), (23, 36))
OVERHAUL_EVERY_KILN_DAYS = 5
# The afternoon on which the whole mill had no electricity.
POWER_CUT = (-61, 13.25), (-61, 18.5)
EXCHANGED_KILN, EXCHANGED_DAY = "K5", -137
Lengths = dict[str, timedelta]


def make_story(world: World, kiln: Row) -> KilnStory:
    """Return what a kiln has done and will do."""
    story = _Teller(world, kiln).tell()
    if kiln["tag"] == EXCHANGED_KILN:
        story.exchanged = world.at(EXCHANGED_DAY, 10.5)
    since, until = POWER_CUT
    story.stops.append(Stop("external", world.at(*since), world.at(*until), cause="Power cut"))
    if kiln["tag"] == STOPPED_KILN:
        # It stands still since yesterday afternoon; nobody knows for how long.
        pattern = next(row for row in read_static("stop_patterns") if row["failure_mode"] == WORSENING_MODE)
        cause = "Bearing of fan motor 2 seized"
        story.stops.append(Stop("unplanned", world.at(*STOPPED_SINCE), None, WORSENING_COMPONENT, pattern, cause))
    return story


def laid_opening(world: World, kiln: str) -> tuple[datetime, datetime]:
    """Return the opening that is laid by hand about the demo's day."""
    laid = ABOUT_TODAY[kiln]
    (first, opens_h), (last, loads_h) = laid.opens, laid.loads
    while laid.is_weekday and world.at(first, 12).astimezone(ZONE).weekday() > 4:
        first, last = first - 1, last - 1
    return world.at(first, opens_h), world.at(last, loads_h)


class _Teller:
    """Tells one kiln's story, from the opening about the demo's day both ways."""

    def __init__(self, world: World, kiln: Row) -> None:
        self.world, self.tag = world, kiln["tag"]
        self.usable_m3 = float(kiln["usable_m3"])
        self.dice = world.dice("charges", self.tag)
        self.recipes = RECIPES.get(self.tag, SOFTWOOD)
        self.laid = ABOUT_TODAY[self.tag]
        self.failures = failures_of(world, self.tag)
        self.stops: list[Stop] = []
        later = OVERHAUL_EVERY_KILN_DAYS * int(self.tag[1:])
        planned = [(world.at(days + later, 7), hours) for days, hours in OVERHAULS]
        self.overhauls_before = [one for one in planned if one[0] < world.now]
        self.overhauls_after = [one for one in planned if one[0] >= world.now]

    def tell(self) -> KilnStory:
        opens, loads = laid_opening(self.world, self.tag)
        charges = [*reversed(self._before(opens)), *self._after(loads)]
        seen: Counter[int] = Counter()
        for charge in charges:
            local = charge.begin.astimezone(ZONE)
            if not seen:
                # The records begin within a year: the charges of its first months have their numbers already.
                seen[local.year] = local.timetuple().tm_yday // 8
            seen[local.year] += 1
            charge.number = f"{local.year % 100:02d}-{seen[local.year]:03d}"
        return KilnStory(self.tag, charges, self.stops, float(BASE_H[self.tag]))

    def _before(self, end: datetime) -> list[Charge]:
        """Tell the past, the last charge first."""
        charges: list[Charge] = []
        given = self.laid.before
        while True:
            charge, stops = self._charge_until(end, given)
            if charge.begin < self.world.start:
                return charges
            charges.append(charge)
            self.stops += stops
            end, given = self._opening_before(charge.begin), {}

    def _after(self, begin: datetime) -> list[Charge]:
        """Tell what is under way and what is planned, well beyond the horizon."""
        charges: list[Charge] = []
        given, recipe, last = self.laid.after, self.laid.recipe_after, self.world.at(self.world.ahead_days)
        while begin < last:
            charges.append(self._charge_from(begin, given, recipe))
            begin, given, recipe = self._opening_after(charges[-1].end), {}, None
        return charges

    def _lengths(self, recipe: Recipe, given: dict[str, float]) -> Lengths:
        dice = self.dice
        hours = {
            "loading": dice.choice((2.0, 2.25, 2.5, 2.75)),
            "heating_up": recipe.heating_up_h * dice.uniform(0.9, 1.15),
            "drying": recipe.drying_h * dice.uniform(0.93, 1.1),
            "conditioning": recipe.conditioning_h * dice.uniform(0.9, 1.1),
            "cooling": recipe.cooling_h,
            "unloading": dice.choice((1.5, 1.75, 2.0)),
        }
        return {kind: quarters(given.get(kind, length)) for kind, length in hours.items()}

    def _charge_from(self, begin: datetime, given: dict[str, float], recipe: Recipe | None) -> Charge:
        recipe = recipe or self.dice.choice(self.recipes)
        lengths = self._lengths(recipe, given)
        delay = quarters(STOPPED_DELAY_H) if self.tag == STOPPED_KILN and given else timedelta()
        lengths["drying"] += delay
        cooled = begin + sum((lengths[kind] for kind in lengths if kind != "unloading"), timedelta())
        # It cools on until somebody is there to unload it.
        lengths["cooling"] += next_slot(cooled, lengths["unloading"] / HOUR, LOADING_HOURS) - cooled
        return self._charge(begin, recipe, lengths, delay)

    def _charge_until(self, end: datetime, given: dict[str, float]) -> tuple[Charge, list[Stop]]:
        """Return a charge that was unloaded then, with what failed while it dried."""
        recipe = self.dice.choice(self.recipes)
        lengths = self._lengths(recipe, given)
        dried = end - lengths["unloading"] - lengths["cooling"] - lengths["conditioning"]
        stops, delay = self._failures_until(dried, lengths["drying"])
        delay += quarters(max(self.dice.gauss(0.5, 1.5), 0.25))
        lengths["drying"] += delay
        loaded = dried - lengths["drying"] - lengths["heating_up"]
        begin = last_slot(loaded, lengths["loading"] / HOUR, LOADING_HOURS)
        # What was loaded in the evening is warmed through the night.
        lengths["heating_up"] += loaded - begin - lengths["loading"]
        return self._charge(begin, recipe, lengths, delay), stops

    def _failures_until(self, dried: datetime, drying: timedelta) -> tuple[list[Stop], timedelta]:
        """Let things fail while a charge dries, the last first; return them and by how much they held it up."""
        stops: list[Stop] = []
        delay = timedelta()
        free_until = dried - 4 * HOUR
        while self.failures and self.failures[0].at > dried - drying - delay:
            failure = self.failures.pop(0)
            stop = self._stop(failure, dried - drying - delay, free_until)
            if stop is not None and stop.end is not None:
                stops.append(stop)
                delay += (stop.end - stop.start) * stop.share_lost
                free_until = stop.start - 6 * HOUR
        return stops, to_quarter(self.world.start + delay) - self.world.start

    def _stop(self, failure: Failure, since: datetime, free_until: datetime) -> Stop | None:
        """Return a stop that is over in time, moved to earlier in the drying where it would not be."""
        free_until = min(free_until, self.world.now - 6 * HOUR)
        latest = free_until
        for _ in range(4):
            at = failure.at if failure.at < latest else instant(since + (latest - since) * self.dice.random())
            stop = failure.stop(at, free_until)
            if since < at < free_until and stop.end is not None and stop.end <= free_until:
                return stop
            latest = min(at, latest)
        return None

    def _charge(self, begin: datetime, recipe: Recipe, lengths: Lengths, delay: timedelta) -> Charge:
        dice, now = self.dice, self.world.now
        late = dice.choice((0, 0, 0, 1, 2)) * HOUR if begin < now else timedelta()
        end = begin + sum(lengths.values(), timedelta())
        charge = Charge(
            number="",
            species=recipe.species,
            thickness_mm=recipe.thickness_mm,
            volume_m3=round(self.usable_m3 * dice.uniform(0.9, 0.99), 1),
            initial_mc_pct=recipe.initial_mc_pct + dice.randint(-6, 6),
            final_mc_pct=recipe.final_mc_pct,
            begin=begin,
            planned_begin=begin - late,
            planned_end=end - late - delay if begin < now else end,
            lengths=lengths,
        )
        if end > now:
            charge.end_spread_h = round(max(1.0, 0.05 * ((end - max(begin, now)) / HOUR)), 1)
        return charge

    def _opening_before(self, begin: datetime) -> datetime:
        """Return when the charge before was unloaded; some openings are overhauls, some waited for timber."""
        dice, world = self.dice, self.world
        if self.overhauls_before and begin < self.overhauls_before[-1][0] + timedelta(days=6):
            _, hours = self.overhauls_before.pop()
            return self._overhaul(last_slot(begin - (hours - 4) * HOUR, 5, UPKEEP_HOURS), hours)
        if dice.random() < NO_TIMBER_CHANCE and begin < world.now - timedelta(days=6):
            end = self._unloaded_by(begin - dice.uniform(*NO_TIMBER_H) * HOUR)
            cause = "No timber of the right thickness in the yard"
            self.stops.append(Stop("no_timber", to_quarter(end + 3 * HOUR), begin, cause=cause))
            return end
        latest = begin - self._span()
        by_day = last_slot(begin - HOUR / 2, DAY_WORK_H, UPKEEP_HOURS) - HOUR / 2
        # The yard leaves the crew some hours of daylight where that costs no more than a night.
        if dice.random() < BY_DAY_CHANCE and by_day > begin - LONGEST_BY_DAY:
            latest = min(latest, by_day)
        return self._unloaded_by(latest)

    def _opening_after(self, end: datetime) -> datetime:
        """Return when the next charge may begin."""
        dice = self.dice
        if self.overhauls_after and self.overhauls_after[0][0] < end + 30 * HOUR:
            _, hours = self.overhauls_after.pop(0)
            start = next_slot(end + HOUR, 5, UPKEEP_HOURS)
            self._overhaul(start, hours)
            return next_slot(start + quarters(hours + 1), 3, LOADING_HOURS)
        earliest = end + self._span()
        by_day = next_slot(end + HOUR / 2, DAY_WORK_H, UPKEEP_HOURS) + DAY_WORK_H * HOUR
        if dice.random() < BY_DAY_CHANCE and by_day < end + LONGEST_BY_DAY:
            earliest = max(earliest, by_day)
        return next_slot(earliest, 3, LOADING_HOURS)

    def _span(self) -> timedelta:
        return self.dice.uniform(*self.dice.choices(SPANS_H, SPAN_WEIGHTS)[0]) * HOUR

    def _unloaded_by(self, latest: datetime) -> datetime:
        """Return an end of unloading within loading hours; what takes longer is begun earlier."""
        return last_slot(latest, 2, LOADING_HOURS) + 2 * HOUR

    def _overhaul(self, start: datetime, hours: float) -> datetime:
        """Put an overhaul down, and return when the kiln had to be unloaded for it."""
        announced = start - timedelta(days=self.dice.randint(31, 60))
        cause = "Overhaul: doors, flaps, coils and fans"
        self.stops.append(Stop("planned", start, start + quarters(hours), cause=cause, announced=announced))
        return self._unloaded_by(start - HOUR)


def charge_rows(world: World, stories: list[KilnStory]) -> list[Row]:
    """Return the rows of the charges file; what begins in the course of the day counts as begun when its time comes."""
    tomorrow = world.at(1)
    names = ("number", "species", "thickness_mm", "volume_m3", "initial_mc_pct", "final_mc_pct", "end_spread_h")
    rows = []
    for story in stories:
        for charge in story.charges:
            basis = "done" if charge.end <= world.now else "running" if charge.begin < tomorrow else "planned"
            rows.append(
                {
                    "kiln": story.tag,
                    "basis": basis,
                    "begin_at": charge.begin,
                    "end_at": charge.end,
                    "planned_begin_at": charge.planned_begin,
                    "planned_end_at": max(charge.planned_end, charge.planned_begin + HOUR),
                    **{name: getattr(charge, name) for name in names},
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
            "failure_mode": stop.pattern.get("failure_mode", ""),
            "announced_at": stop.announced,
            "share_lost": stop.share_lost,
            "cause": stop.cause,
        }
        for story in stories
        for stop in sorted(story.stops, key=lambda stop: stop.start)
    ]


def meter_rows(world: World, stories: list[KilnStory]) -> list[Row]:
    """Return a reading a month, one of yesterday, and both readings of an exchange."""
    rows = []
    for story in stories:
        for days in [*range(-round(world.months * 30.44) + 3, -2, 30), -1]:
            at = world.at(days, 6)
            rows.append({"kiln": story.tag, "read_at": at, "running_h": story.shown_h(at), "is_new_meter": False})
        if story.exchanged is not None:
            last = {"kiln": story.tag, "read_at": story.exchanged, "running_h": story.running_h(story.exchanged)}
            rows += [last | {"is_new_meter": False}, last | {"running_h": 0.0, "is_new_meter": True}]
    return rows
