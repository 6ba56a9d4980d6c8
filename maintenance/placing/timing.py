"""When the charges of a kiln begin and end: with stops, with work beside them, and with the hours of the yard.

Nothing else says when a charge ends. Prices are in 1440ths of a cent.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from .places import FAR, HOURLY, PARTS, Stops, down_place, index_of, is_down, is_in_charge, waiting_place
from .plan import Stop
from .problem import Charge, Kiln, Problem

#: So many ways to time the charges so far are kept beside each other.
MOST_WAYS = 40
#: By place, work that charges are timed round: from, to, and what a minute short of a charge's margin costs.
Work = Mapping[int, Sequence[tuple[int, int, int]]]
#: The charges so far: when the last is out, what they cost, their starts, and stops that yet last beyond a down time.
Way = tuple[int, int, tuple[int, ...], tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Course:
    """How a charge goes: cooled, then unloaded from a minute on; `price` is all that this costs, drying lost aside."""

    start_min: int
    cooled_min: int
    unload_min: int
    end_min: int
    is_interrupted: bool
    later_price: int
    margin_price: int

    @property
    def price(self) -> int:
        """What comes later than promised and what is short of margins cost."""
        return self.later_price + self.margin_price


class Timing:
    """The charges of one kiln, which start and end as the yard, the stops and the work beside them allow."""

    def __init__(self, problem: Problem, kiln: Kiln) -> None:
        self.kiln, self.charges = kiln, kiln.charges
        self.yard = problem.yard
        self.last = len(kiln.charges) - 1
        self._fits: dict[int, tuple[list[int], list[int]]] = {}
        follows = [one.goes_on for one in kiln.charges[1:]]
        #: Whether the yard is asked for a charge's unloading, and for its loading where it begins later than planned.
        self.asks_to_unload = [self.yard is not None and not goes_on for goes_on in follows]
        self.asks_to_load = [
            self.yard is not None and number < self.last and not one.goes_on for number, one in enumerate(kiln.charges)
        ]
        self.may_wait_min = [problem.may_wait_min(one) for one in kiln.charges]
        self.is_plain = (
            self.yard is None
            and not kiln.down
            and not any(one.later_cents_per_hour or one.margin_min for one in kiln.charges[:-1])
        )
        self.latest = self._latest_starts()

    # --- the yard --------------------------------------------------------------------------------

    def fits(self, length_min: int) -> tuple[list[int], list[int]]:
        """Give the first and the last minutes at which so much lies wholly within one span of the yard."""
        found = self._fits.get(length_min)
        if found is None:
            spans = [(start, end - length_min) for start, end in self.yard or () if end - length_min >= start]
            found = self._fits[length_min] = ([start for start, _ in spans], [end for _, end in spans])
        return found

    def _first_fit(self, length_min: int, minute: int) -> int:
        firsts, lasts = self.fits(length_min)
        index = bisect_left(lasts, minute)
        return FAR if index == len(lasts) else max(minute, firsts[index])

    def _last_fit(self, length_min: int, minute: int) -> int:
        firsts, lasts = self.fits(length_min)
        index = bisect_right(firsts, minute) - 1
        return -FAR if index < 0 else min(minute, lasts[index])

    # --- one charge ------------------------------------------------------------------------------

    def to_cooled_min(self, index: int) -> int:
        """How long a charge takes from its start until it has cooled."""
        return self.charges[index].length_min - self.charges[index].unloading_min

    def planned_cooled(self, index: int) -> int:
        """When a charge has cooled that starts when planned."""
        return self.charges[index].start_min + self.to_cooled_min(index)

    def unload_from(self, index: int, cooled_min: int) -> int:
        """When unloading begins: once cooled, as planned or in the hours of the yard; `FAR` where there are none."""
        if not self.asks_to_unload[index] or cooled_min == self.planned_cooled(index):
            return cooled_min
        return self._first_fit(self.charges[index].unloading_min, cooled_min)

    def end_of(self, index: int, start_min: int, stretch_min: int = 0) -> int:
        """When a charge is out that starts then and is stretched by so much."""
        if not self.asks_to_unload[index]:
            return start_min + self.charges[index].length_min + stretch_min
        unload = self.unload_from(index, start_min + self.to_cooled_min(index) + stretch_min)
        return unload + self.charges[index].unloading_min

    def first_start(self, index: int, minute: int) -> int:
        """Give the earliest start of a charge from a minute on; `FAR` where the yard has no hours for it."""
        charge = self.charges[index]
        if minute <= charge.start_min:
            return charge.start_min
        return self._first_fit(charge.loading_min, minute) if self.asks_to_load[index] else minute

    def last_start(self, index: int, minute: int) -> int:
        """Give the latest start of a charge up to a minute; below its planned start where there is none."""
        charge = self.charges[index]
        if minute <= charge.start_min or not self.asks_to_load[index]:
            return minute
        return max(charge.start_min, self._last_fit(charge.loading_min, minute))

    def last_start_out_by(self, index: int, minute: int) -> int:
        """Give the latest minute at which a charge can start that is to be out by a minute, loading aside."""
        charge = self.charges[index]
        latest = minute - charge.unloading_min
        if self.asks_to_unload[index]:
            planned = self.planned_cooled(index)
            if latest >= planned:
                latest = max(planned, self._last_fit(charge.unloading_min, latest))
        return latest - self.to_cooled_min(index)

    def _latest_starts(self) -> list[int]:
        """The latest start of each charge from which all charges after it can still be kept."""
        latest: list[int] = []
        following = FAR
        for index in range(self.last, -1, -1):
            start = self.charges[index].start_min + self.may_wait_min[index]
            if index < self.last:
                start = min(start, self.last_start_out_by(index, following))
            following = self.last_start(index, start)
            latest.append(following)
        return latest[::-1]

    def place_of(self, stop: Stop, starts: Sequence[int]) -> int:
        """Give the place of a stop: one in a charge that has cooled is in the time in which that waits for the yard."""
        if stop.in_down is not None:
            return down_place(stop.in_down)
        if stop.before_charge is not None:
            return 2 * stop.before_charge
        index = stop.in_charge or 0
        cooled = starts[index] + self.to_cooled_min(index)
        if cooled <= stop.set_up_start_min < self.unload_from(index, cooled):
            return waiting_place(index)
        return 2 * index + 1

    # --- all charges -----------------------------------------------------------------------------

    def follow(self, starts: Sequence[int], stops: Stops, work: Work) -> list[Course] | None:
        """Say how each charge goes that starts when it is said to; None where stops or work do not hold so."""
        courses: list[Course] = []
        ended, over = -FAR, self._overruns(stops)
        if not self._stand_apart(stops):
            return None
        for index in range(self.last):
            found = self._go(index, starts[index], ended, stops, work, over)
            if found is None:
                return None
            course, over = found
            courses.append(course)
            ended = course.end_min
        return courses if self._may_end(starts[-1], ended, stops, over) else None

    def timetable(self, stops: Stops, work: Work) -> list[int] | None:
        """Start every charge so that stops and work hold and it costs least; None where they do not.

        As early as can be is best, but for work that keeps its margin before the end of running: for it a charge may
        wait.
        """
        if self.is_plain:
            return self._earliest(stops, work)
        if not self._stand_apart(stops):
            return None
        over_all = self._overruns(stops)
        turns = self._turns(stops, work, over_all)
        ways: list[Way] = [(-FAR, 0, (), over_all)]
        for index in range(self.last):
            further = []
            for ended, price, starts, over in ways:
                for start in self._starts_to_try(index, ended, stops, work, over, turns[index]):
                    found = self._go(index, start, ended, stops, work, over)
                    if found is not None:
                        course, left = found
                        paid = price + course.price
                        paid += self.kiln.interruption_cents * PARTS if course.is_interrupted else 0
                        further.append((course.end_min, paid, (*starts, start), left))
            ways = _best_ways(further)
        ended_ways = []
        for ended, price, starts, over in ways:
            start = self._last_start_at(ended, stops, over)
            if self._may_end(start, ended, stops, over):
                ended_ways.append((price + start * self.kiln.drying_cents_per_hour * HOURLY, start, starts))
        if not ended_ways:
            return None
        _, start, starts = min(ended_ways)
        return [*starts, start]

    def _earliest(self, stops: Stops, work: Work) -> list[int] | None:
        """Start every charge as early as stops and running work allow, in a kiln that asks for nothing else."""
        starts: list[int] = []
        ended = -FAR
        for index, charge in enumerate(self.charges):
            start = max(charge.start_min, ended)
            most = self.latest[index]
            opening = stops.get(2 * index)
            if opening is not None:
                if opening.set_up_start_min < ended or opening.set_up_start_min < 0:
                    return None
                start = max(start, opening.end_min)
            if index == self.last:
                starts.append(start)
                return starts if start <= most else None
            stretch = 0
            stop = stops.get(2 * index + 1)
            if stop is not None:
                until_drying = charge.loading_min + charge.heating_up_min
                start = max(start, stop.set_up_start_min - until_drying - charge.drying_min)
                most = min(most, stop.set_up_start_min - until_drying)
                stretch = stop.end_min - stop.set_up_start_min + self.kiln.reheat_min
            beside = work.get(2 * index + 1)
            if beside:
                most = min(most, min(begin for begin, _, _ in beside) - charge.loading_min)
                to_cooling = charge.length_min - charge.cooling_min - charge.unloading_min + stretch
                start = max(start, max(end for _, end, _ in beside) - to_cooling)
                if stop is not None and not _is_clear(beside, stop.set_up_start_min, stop.end_min, self.kiln):
                    return None
            if start > most:
                return None
            starts.append(start)
            ended = self.end_of(index, start, stretch)
        return starts

    def _overruns(self, stops: Stops) -> tuple[int, ...]:
        """Give the places of stops that last longer than the kiln is down."""
        if not self.kiln.down:
            return ()
        found = [place for place, stop in stops.items() if is_down(place) and stop.end_min > self._down_end(place)]
        return tuple(sorted(found, key=self._down_end))

    def _down_end(self, place: int) -> int:
        return self.kiln.down[index_of(place)].end_min

    def _stand_apart(self, stops: Stops) -> bool:
        """Whether stops while the kiln is down begin in that time, and no two stops overlap."""
        for place, stop in stops.items():
            if is_down(place):
                down = self.kiln.down[index_of(place)]
                if not max(0, down.start_min) <= stop.set_up_start_min < down.end_min:
                    return False
                if any(
                    max(stop.set_up_start_min, other.set_up_start_min) < min(stop.end_min, other.end_min)
                    for there, other in stops.items()
                    if there != place
                ):
                    return False
        return True

    def _go(
        self, index: int, start: int, ended: int, stops: Stops, work: Work, over: tuple[int, ...]
    ) -> tuple[Course, tuple[int, ...]] | None:
        """Let a charge start then, after the one before it; None where that does not hold."""
        charge = self.charges[index]
        opening, cut = stops.get(2 * index), stops.get(2 * index + 1)
        waiting = stops.get(waiting_place(index))
        if start < ended or start > self.latest[index] or start < charge.start_min:
            return None
        if opening is not None and not max(ended, 0) <= opening.set_up_start_min <= opening.end_min <= start:
            return None
        if cut is not None and waiting is not None:
            return None
        cooled = start + self.to_cooled_min(index)
        stretch, barred = 0, None
        if cut is not None:
            drying = start + charge.loading_min + charge.heating_up_min
            if not max(drying, 0) <= cut.set_up_start_min <= drying + charge.drying_min:
                return None
            if cooled <= cut.set_up_start_min < self.unload_from(index, cooled):
                return None
            stretch, barred = cut.end_min - cut.set_up_start_min + self.kiln.reheat_min, cut.set_up_start_min
        # The charge that is the first out after the kiln was down is inside, or waits for the stop that lasts longer.
        while over and self._down_end(over[0]) < self.end_of(index, start, stretch):
            stop, down = stops[over[0]], self.kiln.down[index_of(over[0])]
            over = over[1:]
            if down.unloaded or start > down.end_min:
                if start < stop.end_min:
                    return None
            elif cut is not None or waiting is not None:
                return None
            else:
                cut, stretch, barred = stop, stop.end_min - down.end_min + self.kiln.reheat_min, down.end_min
        cooled += stretch
        unload = self.unload_from(index, cooled)
        if unload >= FAR:
            return None
        if waiting is not None and not cooled <= waiting.set_up_start_min < unload:
            return None
        if waiting is not None and waiting.end_min > unload:
            return None
        beside = work.get(2 * index + 1, ())
        for begin, end, _ in beside:
            if begin < start + charge.loading_min or end > cooled - charge.cooling_min:
                return None
        if beside and cut is not None and barred is not None and not _is_clear(beside, barred, cut.end_min, self.kiln):
            return None
        end_min = unload + charge.unloading_min
        course = Course(
            start_min=start,
            cooled_min=cooled,
            unload_min=unload,
            end_min=end_min,
            is_interrupted=barred is not None,
            later_price=max(0, end_min - charge.promised_min) * charge.later_cents_per_hour * HOURLY,
            margin_price=sum(
                max(0, end + charge.cooling_min + charge.margin_min - cooled) * price for _, end, price in beside
            )
            + sum(
                max(0, end_min + charge.margin_min - begin) * price for begin, _, price in work.get(2 * index + 2, ())
            ),
        )
        return course, over

    def _starts_to_try(
        self, index: int, ended: int, stops: Stops, work: Work, over: tuple[int, ...], turns: set[int]
    ) -> set[int]:
        """Give the starts of a charge that may be best, after one that has ended."""
        charge, to_cooled = self.charges[index], self.to_cooled_min(index)
        opening, cut, waiting = stops.get(2 * index), stops.get(2 * index + 1), stops.get(waiting_place(index))
        least = ended if opening is None else max(ended, opening.end_min)
        stretches = {0}
        if cut is not None:
            least = max(least, cut.set_up_start_min - charge.loading_min - charge.heating_up_min - charge.drying_min)
            stretches = {cut.end_min - cut.set_up_start_min + self.kiln.reheat_min}
        if waiting is not None:
            latest_before = self._last_fit(charge.unloading_min, waiting.set_up_start_min)
            least = max(least, latest_before + 1 - to_cooled, charge.start_min + 1)
        found = {least}
        for place in over:
            down, stop = self.kiln.down[index_of(place)], stops[place]
            found |= {stop.end_min, self.last_start_out_by(index, down.end_min) + 1}
            stretches.add(stop.end_min - down.end_min + self.kiln.reheat_min)
        beside = work.get(2 * index + 1, ())
        if beside:
            until = max(end for _, end, _ in beside) + charge.cooling_min - to_cooled
            found |= {until - stretch for stretch in stretches}
        tried = {self.first_start(index, max(least, minute)) for minute in found}
        # Only for the margin of work beside it does a charge wait, and for no longer than that takes.
        kept = [end + charge.cooling_min + charge.margin_min - to_cooled for _, end, price in beside if price]
        tried |= {minute for minute in turns if least < minute <= max(kept)} if kept else set()
        return tried

    def _turns(self, stops: Stops, work: Work, over: tuple[int, ...]) -> list[set[int]]:
        """Give the starts of each charge beyond which it, or what follows it, begins to cost more or less.

        What a plan costs is linear between them, so that a charge that waits for a margin starts best at one of them.
        Where no work beside a charge keeps a margin there are none.
        """
        turns: list[set[int]] = [set() for _ in range(self.last)]
        if not any(price for place, some in work.items() if is_in_charge(place) for _, _, price in some):
            return turns
        following = {self.charges[-1].start_min, self.latest[-1]}
        late = {stops[place].end_min - self._down_end(place) + self.kiln.reheat_min for place in over}
        for index in range(self.last - 1, -1, -1):
            charge, to_cooled = self.charges[index], self.to_cooled_min(index)
            opening, cut = stops.get(2 * index + 2), stops.get(2 * index + 1)
            stretches = {0, *late}
            found = {charge.start_min, self.latest[index]}
            if cut is not None:
                stretches = {cut.end_min - cut.set_up_start_min + self.kiln.reheat_min}
                found.add(cut.set_up_start_min - charge.loading_min - charge.heating_up_min)
            outs = following | {charge.promised_min}
            if opening is not None:
                outs.add(opening.set_up_start_min)
            outs |= {begin - charge.margin_min for begin, _, price in work.get(2 * index + 2, ()) if price}
            for begin, end, _ in work.get(2 * index + 1, ()):
                found.add(begin - charge.loading_min)
                by = end + charge.cooling_min - to_cooled
                found |= {by + margin - stretch for stretch in stretches for margin in (0, charge.margin_min)}
            if self.asks_to_unload[index]:
                firsts, lasts = self.fits(charge.unloading_min)
                found |= {edge - to_cooled - stretch for edge in (*firsts, *lasts) for stretch in stretches}
            found |= {self.last_start_out_by(index, out) - stretch for out in outs for stretch in stretches}
            found |= {self._down_end(place) for place in over}
            if self.asks_to_load[index]:
                found |= {*self.fits(charge.loading_min)[1]}
            span = range(charge.start_min, self.latest[index] + 1)
            turns[index] = {minute for minute in (self.last_start(index, one) for one in found) if minute in span}
            following = turns[index]
        return turns

    def _last_start_at(self, ended: int, stops: Stops, over: tuple[int, ...]) -> int:
        """When the sentinel starts, all before it being out."""
        opening = stops.get(2 * self.last)
        ends = [stops[place].end_min for place in over] + ([opening.end_min] if opening is not None else [])
        return max(self.charges[-1].start_min, ended, *ends)

    def _may_end(self, start: int, ended: int, stops: Stops, over: tuple[int, ...]) -> bool:
        """Whether the sentinel may start then."""
        opening = stops.get(2 * self.last)
        if opening is not None and not max(ended, 0) <= opening.set_up_start_min:
            return False
        return self._last_start_at(ended, stops, over) <= start <= self.latest[-1]


def _is_clear(beside: Iterable[tuple[int, int, int]], from_min: int, end_min: int, kiln: Kiln) -> bool:
    """Whether no running work lies in a time, or in the reheating after it."""
    return not any(max(begin, from_min) < min(end, end_min + kiln.reheat_min) for begin, end, _ in beside)


def _best_ways(ways: list[Way]) -> list[Way]:
    """Keep the ways than which no other is both sooner and cheaper."""
    kept: list[Way] = []
    for way in sorted(ways):
        if not any(way[1] >= other[1] and way[3] == other[3] for other in kept):
            kept.append(way)
    if len(kept) > MOST_WAYS:
        cheapest = min(kept, key=lambda way: way[1])
        kept = [*kept[: MOST_WAYS - 1], cheapest]
    return kept


def after_drying_min(charge: Charge) -> int:
    """From the end of drying to the end of the charge."""
    return charge.conditioning_min + charge.cooling_min + charge.unloading_min
