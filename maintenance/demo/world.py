"""What the demo's parts share: the day, the mill's clock, its working hours, and the static files."""

import csv
import random
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

ZONE = ZoneInfo("Europe/Stockholm")
# When there is somebody to load and unload: weekday -> first and last hour.
LOADING_HOURS = {0: (6, 20), 1: (6, 20), 2: (6, 20), 3: (6, 20), 4: (6, 20), 5: (6, 18), 6: (8, 20)}
# When there is somebody to mend what has stopped.
REPAIR_HOURS = dict.fromkeys(range(7), (6, 22))
# When there is somebody for upkeep.
UPKEEP_HOURS = dict.fromkeys(range(5), (7, 16))
QUARTER_S = 900
HOUR = timedelta(hours=1)
Row = dict[str, Any]


def read_static(name: str) -> list[dict[str, str]]:
    """Read one of the demo's static files."""
    with (Path(settings.FIXTURES_DIR) / "demo" / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def read_catalogue(name: str) -> list[dict[str, str]]:
    """Read a file of the catalogue."""
    with (Path(settings.FIXTURES_DIR) / "catalogue" / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def to_quarter(moment: datetime) -> datetime:
    """Round up to a quarter of an hour."""
    seconds = moment.timestamp()
    return datetime.fromtimestamp(-(-seconds // QUARTER_S) * QUARTER_S, UTC)


def quarters(hours: float) -> timedelta:
    """Return a length in whole quarters of an hour, at least one."""
    return timedelta(minutes=15 * max(round(hours * 4), 1))


def next_slot(earliest: datetime, hours: float, open_hours: dict[int, tuple[int, int]]) -> datetime:
    """Return the first start from which so many hours fit into a day's opening hours."""
    local = earliest.astimezone(ZONE)
    day = local.date()
    for _ in range(15):
        if day.weekday() in open_hours:
            first, last = open_hours[day.weekday()]
            start = datetime.combine(day, time(first), tzinfo=ZONE).astimezone(UTC)
            end = datetime.combine(day, time(last), tzinfo=ZONE).astimezone(UTC)
            start = max(start, to_quarter(earliest))
            if start + hours * HOUR <= end:
                return start
        day += timedelta(days=1)
    raise ValueError(f"{hours} h do not fit into any day")


def last_slot(latest: datetime, hours: float, open_hours: dict[int, tuple[int, int]]) -> datetime:
    """Return the last start from which so many hours fit into a day's opening hours and are over in time."""
    day = latest.astimezone(ZONE).date()
    for _ in range(15):
        if day.weekday() in open_hours:
            first, last = open_hours[day.weekday()]
            start = datetime.combine(day, time(first), tzinfo=ZONE).astimezone(UTC)
            end = min(datetime.combine(day, time(last), tzinfo=ZONE).astimezone(UTC), latest)
            if start + hours * HOUR <= end:
                return to_quarter(end - hours * HOUR - timedelta(seconds=QUARTER_S - 1))
        day -= timedelta(days=1)
    raise ValueError(f"{hours} h do not fit into any day")


def told(value: Any) -> str:
    """Write a value as the files hold it: local times, with their distance from UTC where they come twice."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        local = value.astimezone(ZONE)
        text = f"{local:%Y-%m-%d %H:%M}"
        if local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset():
            offset = local.strftime("%z")
            text += f"{offset[:3]}:{offset[3:]}"
        return text
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".")
    return str(value)


@dataclass
class World:
    """The demo mill on a day, with so many months behind it."""

    day: date
    months: int = 14
    ahead_days: int = 76
    kilns: list[dict[str, str]] = field(default_factory=lambda: read_static("kilns"))
    components: list[dict[str, str]] = field(default_factory=lambda: read_static("components"))

    @cached_property
    def now(self) -> datetime:
        """Where the demo's past ends: the day begins, so that nothing on record lies ahead at any hour of it."""
        return self.at(0)

    @cached_property
    def start(self) -> datetime:
        """Where the demo's past begins."""
        return self.at(-round(self.months * 30.44), 6)

    def at(self, days: int, hour: float = 0) -> datetime:
        """Return a local time so many days from the day."""
        minutes = round(hour * 60)
        local = datetime.combine(self.day + timedelta(days=days), time(minutes // 60, minutes % 60), tzinfo=ZONE)
        return local.astimezone(UTC)

    def components_of(self, kiln: str, kind: str = "") -> list[dict[str, str]]:
        """Return a kiln's components, of one kind if it is named."""
        return [found for found in self.components if found["kiln"] == kiln and kind in ("", found["kind"])]

    def dice(self, *words: str) -> random.Random:
        """Return chance that is the same every time for the same words."""
        return random.Random("/".join(("fallow bridge", *words)))  # noqa: S311 (no secret hangs on it)

    def fill_days(self, text: str) -> str:
        """Put calendar days in place of D, D+9 and D-40."""

        def fill(match: re.Match[str]) -> str:
            return (self.day + timedelta(days=int(match[1]))).isoformat()

        return re.sub(r"\bD([+-]\d+)\b", fill, text)


@dataclass
class Charge:
    """One charge with its phases in hours."""

    number: str
    species: str
    thickness_mm: int
    volume_m3: float
    initial_mc_pct: int
    final_mc_pct: int
    begin: datetime
    planned_begin: datetime
    planned_end: datetime
    lengths: dict[str, timedelta]
    end_spread_h: float = 0.0

    @property
    def end(self) -> datetime:
        """End of unloading."""
        return self.begin + sum(self.lengths.values(), timedelta())

    def starts(self) -> dict[str, datetime]:
        """Return phase -> begin."""
        found, at = {}, self.begin
        for kind, length in self.lengths.items():
            found[kind] = at
            at += length
        return found

    @property
    def closed_from(self) -> datetime:
        """End of loading."""
        return self.begin + self.lengths["loading"]

    @property
    def closed_until(self) -> datetime:
        """Begin of unloading."""
        return self.end - self.lengths["unloading"]


@dataclass
class Stop:
    """A time in which a kiln was down."""

    kind: str
    start: datetime
    end: datetime | None
    component: str = ""
    pattern: dict[str, str] = field(default_factory=dict)
    cause: str = ""
    announced: datetime | None = None
    share_lost: float = 1.0


@dataclass
class KilnStory:
    """What one kiln has done and will do."""

    tag: str
    charges: list[Charge]
    stops: list[Stop]
    base_h: float
    # When the running-hours meter was exchanged; it began anew at 0.
    exchanged: datetime | None = None

    def shown_h(self, at: datetime) -> float:
        """Return what the meter shows."""
        if self.exchanged is None or at < self.exchanged:
            return self.running_h(at)
        return round(self.running_h(at) - self.running_h(self.exchanged), 1)

    def running_h(self, until: datetime) -> float:
        """Return the hours run since the kiln was built."""
        spans = ((c.closed_from, min(c.closed_until, until)) for c in self.charges if c.closed_from < until)
        return round(self.base_h + sum((end - start) / HOUR for start, end in spans), 1)

    def charges_done(self, until: datetime) -> int:
        """Return how many charges were unloaded by then."""
        return sum(charge.end <= until for charge in self.charges)

    def used_up(self, since: datetime, charges: int | None, running_h: int | None) -> datetime:
        """Return the end of the charge with which so many charges, or running hours, were used since an instant."""
        done, ran = self.charges_done(since), self.running_h(since)
        for number, charge in enumerate(self.charges, start=1):
            if charge.end <= since:
                continue
            if charges and number >= done + charges:
                return charge.end
            if running_h and self.running_h(charge.closed_until) >= ran + running_h:
                return charge.end
        # Further ahead than the programme reaches: about as fast as so far.
        days_a_charge = (self.charges[-1].end - self.charges[0].begin) / len(self.charges)
        return since + (charges * days_a_charge if charges else timedelta(days=(running_h or 0) / 20))

    def openings(self) -> Iterable[tuple[datetime, datetime]]:
        """Return the spans between two charges."""
        return ((before.end, after.begin) for before, after in zip(self.charges, self.charges[1:], strict=False))

    def time_for(self, state: str, around: datetime, hours: float, until: datetime) -> datetime | None:
        """Return when work that needs a state of the kiln was done, at or after an instant and over before another."""
        if around < self.charges[0].begin:
            # Older than the records: any working day will do.
            return next_slot(around, hours, UPKEEP_HOURS)
        if state in ("empty", "still"):
            for start, end in self.openings():
                if end > around:
                    slot = next_slot(max(start + HOUR / 2, around), hours, UPKEEP_HOURS)
                    if slot + hours * HOUR <= end:
                        return slot if slot + hours * HOUR < until else None
            return None
        slot = next_slot(around, hours, UPKEEP_HOURS)
        return slot if slot + hours * HOUR < until else None


def write_rows(folder: Path, name: str, header: Sequence[str], rows: Iterable[Row]) -> None:
    """Write one file."""
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(header)
        writer.writerows([told(row.get(column)) for column in header] for row in rows)
