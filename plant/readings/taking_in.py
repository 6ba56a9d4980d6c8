"""Readings come in: all of a batch or nothing of it, each second of a channel once, however often it is sent."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import uuid4

import numpy as np
from django.db import connection, transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone
from numpy.typing import NDArray

from plant import clock
from plant.background.queueing import enqueue
from plant.basics.periods import to_epoch_s
from plant.models import Channel, Job, Kiln, Reading, ReadingSource, Unsettled
from plant.readings.calculations.climate_frame import Values
from plant.readings.calculations.reading_marks import out_of_range
from plant.readings.settling import settle
from plant.signals import readings_came

__all__ = ["ReadingFault", "Taken", "settle", "take_in"]

SETTLE_TASK = "settle readings"
# A feed of a reading a minute shall not make a job a minute.
SETTLE_PAUSE = timedelta(minutes=2)
MOST_FAULTS = 50
# The bounds of the database's own constraints.
FIRST_S, END_S = 946_684_800, 4_102_444_800
LARGEST = 1e12
MOST_AHEAD = timedelta(days=1)
# Of PostgreSQL's advisory locks, those that let one batch at a time into a kiln.
LOCK_SPACE = 0x4B494C4E
ROWS_AT_ONCE = 50_000

Whole = NDArray[np.int64]


class ReadingFault(ValueError):  # noqa: N818  what is wrong with a batch, not an error of the program
    """Raised for a batch that cannot be taken in; ``faults`` says why, reading by reading, the first fifty."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Taken:
    """How many readings of a batch were new, known already, and known with another value (the first one is kept)."""

    new: int = 0
    known: int = 0
    differing: int = 0


@dataclass(frozen=True, slots=True)
class _Batch:
    """Readings sorted by channel and second; each array of shape (n,)."""

    channel_id: Whole
    at_s: Whole
    value: Values

    def __len__(self) -> int:
        return len(self.at_s)

    def only(self, which: NDArray[np.bool_] | NDArray[np.int64]) -> "_Batch":
        return _Batch(self.channel_id[which], self.at_s[which], self.value[which])


@transaction.atomic
def take_in(channel_id: Whole, at_s: Whole, value: Values, *, source: ReadingSource | None = None) -> Taken:
    """Store readings, values in their quantities' units, and want them settled; all of them or none.

    A reading whose channel and second are known changes nothing, also inside the batch: the first value that came is
    kept. Raises ReadingFault for values that are no numbers or beyond 10^12, times outside 2000 to 2100 or more than
    a day ahead, and unknown channels.
    """
    batch = _Batch(np.asarray(channel_id, np.int64), np.asarray(at_s, np.int64), np.asarray(value, np.float64))
    if not batch.channel_id.shape == batch.at_s.shape == batch.value.shape or batch.at_s.ndim != 1:
        raise TypeError("channel_id, at_s and value must be arrays of one length")
    channels = Channel.objects.select_related("kiln").in_bulk(np.unique(batch.channel_id).tolist())
    _refuse_faults(batch, channels)
    kilns = sorted({channel.kiln for channel in channels.values()}, key=lambda kiln: kiln.pk)
    _one_batch_at_a_time(kilns)
    first = _first_of_each(batch)
    sorted_batch = batch.only(first)
    is_new, differing = _compare_with_known(sorted_batch, channels)
    differing += _differing_inside(batch, first)
    new = sorted_batch.only(is_new)
    if len(new):
        _insert(new, _marks_at_once(new, channels))
        for kiln in kilns:
            ids = [channel.pk for channel in channels.values() if channel.kiln_id == kiln.pk]
            at_s = new.at_s[np.isin(new.channel_id, ids)]
            _want_settled(kiln, at_s)
            if len(at_s):
                readings_came.send(sender=Kiln, kiln=kiln, from_s=int(at_s.min()), until_s=int(at_s.max()))
    if source is not None:
        ReadingSource.objects.filter(pk=source.pk).update(last_heard_at=clock.now())
    return Taken(len(new), len(batch) - len(new) - differing, differing)


def _refuse_faults(batch: _Batch, channels: dict[int, Channel]) -> None:
    latest_s = min(to_epoch_s(clock.now() + MOST_AHEAD), END_S - 1)
    known_ids = np.fromiter(channels, np.int64, len(channels))
    rules = (
        (~np.isin(batch.channel_id, known_ids), batch.channel_id, "channel {} is not known"),
        (~np.isfinite(batch.value), batch.value, "{} is not a number"),
        (np.isfinite(batch.value) & (np.abs(batch.value) >= LARGEST), batch.value, "{} is too large: below 10^12 is"),
        (batch.at_s < FIRST_S, batch.at_s, "its time, {} s since 1970, lies before the year 2000"),
        (batch.at_s > latest_s, batch.at_s, "its time, {} s since 1970, lies more than a day ahead"),
    )
    found = [
        (int(number), said.format(what[number]))
        for is_wrong, what, said in rules
        for number in np.flatnonzero(is_wrong)[:MOST_FAULTS]
    ]
    if found:
        raise ReadingFault([f"reading {number + 1}: {said}" for number, said in sorted(found)[:MOST_FAULTS]])


def _one_batch_at_a_time(kilns: list[Kiln]) -> None:
    """Let one batch at a time into a kiln; in the order of their keys, so that no two batches wait for each other.

    SQLite lets one writer in at a time anyway.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for kiln in kilns:
                cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [LOCK_SPACE, kiln.pk])


def _first_of_each(batch: _Batch) -> Whole:
    """Return the places of the first reading of each channel and second, sorted by both."""
    order = np.lexsort((batch.at_s, batch.channel_id))
    channel_id, at_s = batch.channel_id[order], batch.at_s[order]
    is_first = np.ones(len(order), bool)
    is_first[1:] = (channel_id[1:] != channel_id[:-1]) | (at_s[1:] != at_s[:-1])
    return order[is_first].astype(np.int64)


def _differing_inside(batch: _Batch, first: Whole) -> int:
    """Count readings of the batch whose channel and second stand in it before with another value."""
    if len(first) == len(batch):
        return 0
    order = np.lexsort((batch.at_s, batch.channel_id))
    # Sorting is stable: each first one is followed by its repetitions.
    number = np.cumsum(np.isin(order, first, assume_unique=True)) - 1
    return int(np.count_nonzero(batch.value[order] != batch.value[first][number]))


def _compare_with_known(batch: _Batch, channels: dict[int, Channel]) -> tuple[NDArray[np.bool_], int]:
    """Say which readings are not known yet, and count those known with another value."""
    is_new = np.ones(len(batch), bool)
    differing = 0
    if not len(batch):
        return is_new, differing
    lies_there = Reading.objects.filter(
        channel_id=OuterRef("pk"), at_s__gte=int(batch.at_s.min()), at_s__lte=int(batch.at_s.max())
    )
    # What comes as it is measured meets nothing: then one query is all there is to pay.
    touched = Channel.objects.filter(Exists(lies_there), pk__in=channels).order_by("pk").values_list("pk", flat=True)
    for channel_id in touched:
        first, end = np.searchsorted(batch.channel_id, [channel_id, channel_id + 1])
        known_at_s, known_value = _known(channel_id, batch.at_s[first:end])
        place = first + np.searchsorted(batch.at_s[first:end], known_at_s)
        is_new[place] = False
        differing += int(np.count_nonzero(batch.value[place] != known_value))
    return is_new, differing


def _known(channel_id: int, at_s: Whole) -> tuple[Whole, Values]:
    """Return second and value of a channel's readings at any of some seconds."""
    table, moments = Reading._meta.db_table, at_s.tolist()
    asked: list[Any]
    if connection.vendor == "postgresql":
        sql = f"SELECT at_s, value FROM {table} WHERE channel_id = %s AND at_s = ANY(%s)"  # noqa: S608  our own name
        asked = [channel_id, moments]
    else:
        # The wanted seconds lead: one step in the index for each, however long the span.
        sql = (
            f"SELECT known.at_s, known.value FROM json_each(%s) AS wanted CROSS JOIN {table} AS known"  # noqa: S608  our own name
            " WHERE known.channel_id = %s AND known.at_s = wanted.value"
        )
        asked = [json.dumps(moments), channel_id]
    with connection.cursor() as cursor:
        cursor.execute(sql, asked)
        rows = cursor.fetchall()
    return np.array([row[0] for row in rows], np.int64), np.array([row[1] for row in rows], np.float64)


def _marks_at_once(batch: _Batch, channels: dict[int, Channel]) -> NDArray[np.int16]:
    """Mark what no sensor can read; the other marks need the readings around."""
    marks = np.zeros(len(batch), np.int16)
    for channel in channels.values():
        first, end = np.searchsorted(batch.channel_id, [channel.pk, channel.pk + 1])
        marks[first:end] = out_of_range(channel.quantity, batch.value[first:end])
    return marks


def _insert(batch: _Batch, marks: NDArray[np.int16]) -> None:
    """Write readings that are new; nobody else writes into these kilns meanwhile."""
    columns = f"{Reading._meta.db_table} (channel_id, at_s, value, marks)"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {columns} FROM STDIN (FORMAT BINARY)") as copy:
                for piece in _as_binary_copy(batch, marks):
                    copy.write(piece)
            return
        sql = f"INSERT INTO {columns} VALUES (%s, %s, %s, %s)"  # noqa: S608  our own name
        for first in range(0, len(batch), ROWS_AT_ONCE):
            some = slice(first, first + ROWS_AT_ONCE)
            fields = (batch.channel_id[some], batch.at_s[some], batch.value[some], marks[some])
            cursor.executemany(sql, list(zip(*(field.tolist() for field in fields), strict=True)))


def _as_binary_copy(batch: _Batch, marks: NDArray[np.int16]) -> Iterator[bytes]:
    """Write rows in PostgreSQL's binary form of COPY: a head, rows of lengths and values, an end (its manual, COPY)."""
    row = np.dtype(
        [
            ("fields", ">i2"),
            ("channel_bytes", ">i4"),
            ("channel_id", ">i8"),
            ("at_bytes", ">i4"),
            ("at_s", ">i8"),
            ("value_bytes", ">i4"),
            ("value", ">f8"),
            ("marks_bytes", ">i4"),
            ("marks", ">i2"),
        ]
    )
    yield b"PGCOPY\n\xff\r\n\0" + bytes(8)
    for first in range(0, len(batch), ROWS_AT_ONCE):
        some = slice(first, first + ROWS_AT_ONCE)
        rows = np.empty(len(batch.at_s[some]), row)
        rows["fields"], rows["channel_bytes"], rows["at_bytes"], rows["value_bytes"], rows["marks_bytes"] = (
            4,
            8,
            8,
            8,
            2,
        )
        rows["channel_id"], rows["at_s"] = batch.channel_id[some], batch.at_s[some]
        rows["value"], rows["marks"] = batch.value[some], marks[some]
        yield rows.tobytes()
    yield b"\xff\xff"


def _want_settled(kiln: Kiln, at_s: Whole) -> None:
    """Widen what waits to be settled in a kiln, and want the task that does it: one that waits suffices."""
    if not len(at_s):
        return
    table = Unsettled._meta.db_table
    least, most = ("LEAST", "GREATEST") if connection.vendor == "postgresql" else ("min", "max")
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} AS waiting (kiln_id, from_s, until_s) VALUES (%s, %s, %s)"  # noqa: S608  our own name
            f" ON CONFLICT (kiln_id) DO UPDATE SET from_s = {least}(waiting.from_s, excluded.from_s),"
            f" until_s = {most}(waiting.until_s, excluded.until_s)",
            [kiln.pk, int(at_s.min()), int(at_s.max())],
        )
    _want_settling(kiln)


def _want_settling(kiln: Kiln) -> None:
    """Enqueue the task unless one waits already; not sooner than a while after the one before."""
    moment = timezone.now()
    of_kiln = Job.objects.filter(what=SETTLE_TASK, key__startswith=f"{SETTLE_TASK} {kiln.tag} ")
    # Locked: a worker that is about to take it up must wait for us, or it would look before our readings are there.
    if of_kiln.waiting().select_for_update().first():
        return
    # With the states, so that the index serves it however many jobs are on record.
    begun = of_kiln.filter(state__in=[Job.State.UNDER_WAY, Job.State.FINISHED, Job.State.FAILED])
    last = begun.filter(wanted_at__gt=moment - 2 * SETTLE_PAUSE).order_by("-not_before_at").first()
    not_before_at = max(moment, last.not_before_at + SETTLE_PAUSE) if last else moment
    key = f"{SETTLE_TASK} {kiln.tag} {moment:%Y-%m-%d %H:%M:%S} {uuid4().hex[:8]}"
    enqueue(SETTLE_TASK, key, {"kiln": kiln.pk}, not_before_at=not_before_at)
