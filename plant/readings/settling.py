"""Settling readings: their marks, the days in short, and word to the storeys above."""

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
from django.db import connection, transaction
from django.db.models import Min, OuterRef, Subquery

from plant.basics.periods import CalendarUnit, Period, calendar_periods, from_epoch_s
from plant.models import Channel, ChannelDay, Kiln, Reading, Unsettled
from plant.readings.calculations.reading_marks import Marks, Track, mark, reach_s
from plant.readings.spans import Series, load_channels, phase_spans, running_spans
from plant.signals import readings_settled

# So much is settled in one transaction: long enough to be quick, short enough that nobody waits for its locks.
PORTION_S = 14 * 86_400

Span = tuple[int, int]
Progress = Callable[[int, int], None]


def settle(kiln: Kiln, progress: Progress | None = None) -> Span | None:
    """Mark what came in since the last time, sum up its days, and tell; return the span in seconds, both ends included.

    Works through the span in portions, each of them whole or not at all: what is not done yet stays unsettled and is
    taken up by the next call. ``progress`` is told how many days are done, and of how many. None where nothing waits.
    """
    settled: Span | None = None
    while portion := _settle_portion(kiln):
        from_s, until_s, end_s = portion
        settled = (from_s if settled is None else min(settled[0], from_s), until_s)
        if progress is not None:
            progress((until_s - settled[0]) // 86_400, (end_s - settled[0]) // 86_400)
    return settled


@transaction.atomic
def _settle_portion(kiln: Kiln) -> tuple[int, int, int] | None:
    """Settle the oldest portion; return its span and the end of all that waited, or None where nothing waits."""
    # Whoever brings readings widens this row in the transaction that stores them: while we hold it, none come in.
    waiting = Unsettled.objects.select_for_update().filter(kiln=kiln).first()
    if waiting is None:
        return None
    channels = list(Channel.objects.filter(kiln=kiln))
    from_s = _first_reading_s(kiln, waiting)
    until_s = min(waiting.until_s, from_s + PORTION_S)
    _settle_span(kiln, channels, from_s, until_s)
    end_s = waiting.until_s
    if until_s == end_s:
        waiting.delete()
    else:
        waiting.from_s = until_s + 1
        waiting.save(update_fields=["from_s"])
    readings_settled.send(sender=Kiln, kiln=kiln, from_s=from_s, until_s=until_s)
    return from_s, until_s, end_s


def _first_reading_s(kiln: Kiln, waiting: Unsettled) -> int:
    """Return where the first reading of the span lies: years without any are passed over at once."""
    later = Reading.objects.filter(channel_id=OuterRef("pk"), at_s__gte=waiting.from_s).order_by("at_s")
    firsts = Channel.objects.filter(kiln=kiln).annotate(first_s=Subquery(later.values("at_s")[:1]))
    found: int | None = firsts.aggregate(least=Min("first_s"))["least"]
    return waiting.from_s if found is None else min(max(found, waiting.from_s), waiting.until_s)


def _settle_span(kiln: Kiln, channels: list[Channel], from_s: int, until_s: int) -> None:
    """Work out the marks of a span and around it, and the days that it touches."""
    reach = _reaches_s(channels)
    zone = kiln.mill.time_zone
    around = {key: (from_s - reach_s, until_s + reach_s) for key, reach_s in reach.items()}
    loaded: dict[str, Series] = {}
    for one in sorted(set(reach.values())):
        some = [channel for channel in channels if reach[channel.key] == one]
        days = _days(from_s - one, until_s + one, zone)
        # Whole days, because those are summed up, and beyond them what bears upon the marks.
        loaded |= load_channels(
            some, min(days[0].start_s, from_s - 2 * one), max(days[-1].end_s, until_s + 2 * one + 1)
        )
    longest = max(reach.values(), default=0)
    running = running_spans(phase_spans(kiln, from_s - 2 * longest, until_s + 2 * longest))
    tracks = {
        one.key: Track(one.quantity, one.place, one.every_s, loaded[one.key].at_s, loaded[one.key].value)
        for one in channels
    }
    fresh = mark(tracks, running, kiln.mill.pressure_pa)
    for channel in channels:
        _keep_marks(channel, loaded[channel.key], fresh[channel.key], around[channel.key])
    _keep_days(channels, loaded, around, zone)


def _reaches_s(channels: list[Channel]) -> dict[str, int]:
    """Return how far a reading bears upon marks, by channel; dry and wet bulbs bear upon each other."""
    reach = {one.key: reach_s(one.quantity, one.every_s) for one in channels}
    bulbs = [
        one.key for one in channels if one.quantity in (Channel.Quantity.AIR_TEMPERATURE, Channel.Quantity.WET_BULB)
    ]
    longest = max((reach[key] for key in bulbs), default=0)
    return reach | dict.fromkeys(bulbs, longest)


def _days(from_s: int, until_s: int, zone: str) -> list[Period]:
    """Return the calendar days of the mill that a span touches."""
    # A day on either side is cheap; which ones are touched is seen from their instants.
    first, last = from_epoch_s(from_s), from_epoch_s(until_s)
    days = calendar_periods(
        CalendarUnit.DAY, (first - timedelta(days=1)).date(), (last + timedelta(days=1)).date(), zone
    )
    return [day for day in days if day.end_s > from_s and day.start_s <= until_s]


def _keep_marks(channel: Channel, series: Series, fresh: Marks, around: Span) -> None:
    """Store the marks that changed inside a span, also in the series at hand; outside it too little is known."""
    inside = (series.at_s >= around[0]) & (series.at_s <= around[1])
    changed = np.flatnonzero(inside & (series.marks != fresh))
    if not len(changed):
        return
    series.marks[changed] = fresh[changed]
    table = Reading._meta.db_table
    at_s, marks = series.at_s[changed].tolist(), fresh[changed].tolist()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                f"UPDATE {table} SET marks = fresh.marks"  # noqa: S608  our own name
                " FROM unnest(%s::bigint[], %s::smallint[]) AS fresh (at_s, marks)"
                f" WHERE {table}.channel_id = %s AND {table}.at_s = fresh.at_s",
                [at_s, marks, channel.pk],
            )
        else:
            sql = f"UPDATE {table} SET marks = %s WHERE channel_id = %s AND at_s = %s"  # noqa: S608  our own name
            cursor.executemany(sql, [(bits, channel.pk, second) for second, bits in zip(at_s, marks, strict=True)])


def _keep_days(channels: list[Channel], loaded: dict[str, Series], around: dict[str, Span], zone: str) -> None:
    """Replace the days in short that the span and its surroundings touch."""
    rows = [row for one in channels for row in _summed_up(one, loaded[one.key], _days(*around[one.key], zone))]
    ChannelDay.objects.bulk_create(
        rows,
        batch_size=1000,
        update_conflicts=True,
        update_fields=["readings", "marked", "low", "mean", "high"],
        unique_fields=["channel", "day"],
    )


def _summed_up(channel: Channel, series: Series, days: list[Period]) -> list[ChannelDay]:
    """Sum up days of a channel; a day without readings has no row."""
    rows = []
    for day in days:
        first, end = np.searchsorted(series.at_s, [day.start_s, day.end_s])
        if first == end:
            continue
        trusted = series.value[first:end][series.marks[first:end] == 0]
        row = ChannelDay(
            channel=channel,
            day=datetime.fromisoformat(day.label).date(),
            readings=int(end - first),
            marked=int(end - first) - len(trusted),
        )
        if len(trusted):
            row.low, row.mean, row.high = float(trusted.min()), float(trusted.mean()), float(trusted.max())
        rows.append(row)
    return rows
