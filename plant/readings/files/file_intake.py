"""A logger's file is taken in: all of it or nothing, by the form that somebody confirmed for its source."""

import hashlib
import time
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.utils.translation import gettext as _
from numpy.typing import NDArray

from plant import clock
from plant.access import require
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import Sentence
from plant.models import Change, Channel, ChannelName, FileIntake, ReadingSource, User
from plant.physics.quantities import QUANTITIES
from plant.readings.calculations.reading_units import known_unit, to_kept
from plant.readings.files.calculations.faults import FaultyFileError, FileFault, OtherHeadError, refuse
from plant.readings.files.calculations.form import LONG, FileForm
from plant.readings.files.calculations.reading import FileReadings, read_all
from plant.readings.taking_in import ReadingFault, Taken, take_in

MOST_AHEAD = timedelta(days=1)
MOST_FAULTS_KEPT = 50
# SQLite lets one writer in at a time, and the others wait 20 seconds at most: a larger file is stored in portions, each
# a transaction of its own, with room for the others between them. All of it was checked before the first.
PORTION = 250_000
PAUSE_S = 0.1


@dataclass(frozen=True, slots=True)
class Assigned:
    """What a column or a name of a file is: a channel and the unit it is written in there (empty: as it is kept)."""

    channel: Channel
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a source's file form says: how its files are written, and which of their names are left out."""

    form: FileForm
    left_out: tuple[str, ...]
    # The unit that a long file itself gave each name when it was confirmed, right or wrong.
    said_units: Mapping[str, str]
    confirmed_at: str


def remembered(source: ReadingSource) -> Remembered | None:
    """Return how a source's files are read, None where nobody has confirmed it yet."""
    kept = source.file_form
    try:
        form = FileForm.from_json(kept)
    except (ValueError, TypeError):
        return None
    said_units = dict(kept.get("said_units", {}))
    return Remembered(form, tuple(kept.get("left_out", ())), said_units, str(kept.get("confirmed_at", "")))


def assigned_of(source: ReadingSource) -> tuple[dict[str, Assigned], set[str]]:
    """Return what the source's names stand for, and those whose channel or kiln is no longer in use."""
    names: dict[str, Assigned] = {}
    idle: set[str] = set()
    for named in ChannelName.objects.filter(source=source).select_related("channel__kiln"):
        if named.channel.is_active and named.channel.kiln.is_active:
            names[named.name] = Assigned(named.channel, named.unit)
        else:
            idle.add(named.name)
    return names, idle


def latest_s() -> int:
    """Return the last second that a reading may have."""
    return to_epoch_s(clock.now() + MOST_AHEAD)


def refuse_large(size: int) -> None:
    """Refuse a file that is too large. Raises FaultyFileError."""
    limit = settings.MAX_LOAD_BYTES
    if size > limit:
        raise refuse(
            Sentence.of("file.large", size_mb=round(size / 1e6), most_mb=round(limit / 1e6)),
            Sentence.of("mend.split"),
        )


def to_kept_units(readings: FileReadings, assigned: Mapping[str, Assigned]) -> FileReadings:
    """Turn the values into the units in which they are kept. Raises FaultyFileError for a unit that does not fit."""
    value = readings.value
    for number, name in enumerate(readings.names):
        one = assigned[name]
        kept = QUANTITIES[one.channel.quantity].unit
        if not one.unit or known_unit(one.unit) == kept:
            continue
        here = readings.name_no == number
        try:
            value = value.copy() if value is readings.value else value
            value[here] = to_kept(one.channel.quantity, value[here], one.unit)
        except ValueError as fault:
            raise refuse(Sentence.of("unit.wrong", reason=str(fault)), Sentence.of("mend.unit"), column=name) from None
    return replace(readings, value=value)


@dataclass(frozen=True, slots=True)
class _File:
    """A file that was read, in the units in which readings are kept."""

    name: str
    digest: str
    readings: FileReadings
    # (k,) the channel of each name
    channel_ids: NDArray[np.int64]


def _read(raw: bytes, name: str, form: FileForm, assigned: Mapping[str, Assigned], left_out: Collection[str]) -> _File:
    """Read a file. Raises FaultyFileError."""
    refuse_large(len(raw))
    readings = to_kept_units(read_all(raw, form, assigned, left_out, latest_s=latest_s()), assigned)
    if not len(readings):
        raise refuse(Sentence.of("file.no_value"), Sentence.of("mend.give_column"))
    ids = np.array([assigned[one].channel.pk for one in readings.names], np.int64)
    return _File(name[-200:], digest_of(raw), readings, ids)


def _store_ahead(source: ReadingSource, file: _File) -> tuple[Taken, slice]:
    """Store what is too much for one transaction; return what came of it, and the rest. Raises FaultyFileError."""
    done, first, count = Taken(), 0, len(file.readings)
    while connection.vendor == "sqlite" and count - first > PORTION:
        done = _sum(done, _take_in(source, file, slice(first, first + PORTION)))
        first += PORTION
        time.sleep(PAUSE_S)
    return done, slice(first, count)


def _take_in(source: ReadingSource, file: _File, some: slice) -> Taken:
    readings = file.readings
    ids = file.channel_ids[readings.name_no[some]]
    try:
        return take_in(ids, readings.at_s[some], readings.value[some], source=source)
    except ReadingFault as fault:
        raise FaultyFileError(
            [FileFault(Sentence.of("reading.wrong", reason=text), Sentence.of("mend.file")) for text in fault.faults]
        ) from None


def _sum(one: Taken, other: Taken) -> Taken:
    return Taken(one.new + other.new, one.known + other.known, one.differing + other.differing)


def _store(source: ReadingSource, file: _File, ahead: Taken, rest: slice, by: User | None) -> FileIntake:
    """Store the rest of a file and the record of it, in the caller's transaction. Raises FaultyFileError."""
    readings, taken = file.readings, _sum(ahead, _take_in(source, file, rest))
    return FileIntake.objects.create(
        source=source,
        file_name=file.name,
        digest=file.digest,
        at=clock.now(),
        by=by,
        read=len(readings),
        new=taken.new,
        known=taken.known,
        differing=taken.differing,
        first_at=from_epoch_s(int(readings.at_s.min())),
        last_at=from_epoch_s(int(readings.at_s.max())),
    )


def digest_of(raw: bytes) -> str:
    """Return by what a file is known again."""
    return hashlib.sha256(raw).hexdigest()


def take_in_file(source: ReadingSource, raw: bytes, file_name: str, *, by: User | None) -> FileIntake:
    """Take a file in by the form that was confirmed for its source.

    Raises
    ------
    OtherHeadError
        Where nobody has confirmed how such a file is read.
    FaultyFileError
        Where anything is wrong with it; then nothing of it is kept.
    ValidationError
        Where the source is not in use.
    """
    require(by, "take in readings")
    known = remembered(source)
    if known is None:
        raise OtherHeadError([FileFault(Sentence.of("file.unconfirmed"), Sentence.of("mend.confirm"))])
    assigned, idle = assigned_of(source)
    # Read before anything is locked: a large file takes a while.
    file = _read(raw, file_name, known.form, assigned, {*known.left_out, *idle})
    _refuse_other_units(file.readings, known.said_units)
    _lock(source)
    ahead, rest = _store_ahead(source, file)
    with transaction.atomic():
        return _store(_lock(source), file, ahead, rest, by)


def _refuse_other_units(readings: FileReadings, said: Mapping[str, str]) -> None:
    """Refuse units that are not those the files had when somebody confirmed them. Raises OtherHeadError."""
    changed = {name: told for name, told in readings.units.items() if said.get(name, told) != told}
    if changed:
        mend = Sentence.of("mend.confirm_units")
        faults = [
            FileFault(Sentence.of("unit.other", told=told, before=said[name]), mend, 0, name)
            for name, told in changed.items()
        ]
        raise OtherHeadError(faults)


def confirm_and_take_in(
    source: ReadingSource,
    raw: bytes,
    file_name: str,
    form: FileForm,
    assigned: Mapping[str, Assigned],
    left_out: Sequence[str],
    *,
    by: User | None,
) -> FileIntake:
    """Take a file in as somebody confirmed it, and remember the form and the channels for the next one.

    Raises
    ------
    FaultyFileError
        Where anything is wrong with the file; then nothing is remembered either.
    ValidationError
        Where two names are to be the same channel, or the source is not in use.
    """
    require(by, "take in readings")
    _refuse_twice(assigned)
    file = _read(raw, file_name, form, assigned, left_out)
    _lock(source)
    ahead, rest = _store_ahead(source, file)
    with transaction.atomic():
        source = _lock(source)
        intake = _store(source, file, ahead, rest, by)
        said_units = file.readings.units if form.shape == LONG else {}
        _remember(source, form, assigned, left_out, said_units, by)
    return intake


@transaction.atomic
def _lock(source: ReadingSource) -> ReadingSource:
    """Return the source as it is, held for the transaction. Raises ValidationError where it takes no files."""
    source = ReadingSource.objects.select_for_update().get(pk=source.pk)
    if source.way != ReadingSource.Way.FILES:
        raise ValidationError(_("%(source)s does not bring files.") % {"source": source})
    if not source.is_active:
        raise ValidationError(_("%(source)s is not in use: switch it on first.") % {"source": source})
    return source


def _refuse_twice(assigned: Mapping[str, Assigned]) -> None:
    names: dict[int, str] = {}
    for name, one in assigned.items():
        if one.channel.pk in names:
            raise ValidationError(
                _("“%(first)s” and “%(second)s” cannot both be %(channel)s: leave one of them out.")
                % {"first": names[one.channel.pk], "second": name, "channel": one.channel}
            )
        names[one.channel.pk] = name


def _remember(
    source: ReadingSource,
    form: FileForm,
    assigned: Mapping[str, Assigned],
    left_out: Sequence[str],
    said_units: Mapping[str, str],
    by: User | None,
) -> None:
    """Keep form and channels. Which of two hours was meant is said of one file only and not kept."""
    before = _told(source)
    kept: dict[str, Any] = replace(form, doubled_hour="order").to_json()
    known = remembered(source)
    said = {**(known.said_units if known else {}), **said_units}
    kept |= {"left_out": sorted(left_out), "said_units": said, "confirmed_at": clock.now().isoformat()}
    source.file_form = kept
    source.save(update_fields=["file_form"])
    # Names of other files of the same source stay as they are.
    ChannelName.objects.filter(source=source, name__in=list(left_out)).delete()
    for name, one in assigned.items():
        ChannelName.objects.update_or_create(
            source=source, name=name, defaults={"channel": one.channel, "unit": one.unit}
        )
    after = _told(source)
    if before != after:
        Change.record(source, "way of reading confirmed", by=by, before=before, after=after)


def _told(source: ReadingSource) -> dict[str, str]:
    """Return what the history says of how files are read."""
    known = remembered(source)
    if known is None:
        return {}
    names = ChannelName.objects.filter(source=source).select_related("channel__kiln")
    return {
        "date_order": known.form.date_order,
        "zone": known.form.zone,
        "decimal": known.form.decimal,
        "columns": "; ".join(f"{one.name} = {one.channel} {one.unit}".strip() for one in names)[:2000],
        "left_out": "; ".join(known.left_out)[:1000],
    }


def record_refusal(
    source: ReadingSource, raw: bytes, file_name: str, fault: FaultyFileError, *, by: User | None
) -> FileIntake:
    """Put on record that a file was refused, with the reasons."""
    require(by, "take in readings")
    return FileIntake.objects.create(
        source=source,
        file_name=file_name[-200:],
        digest=digest_of(raw),
        at=clock.now(),
        by=by,
        is_taken_in=False,
        faults=fault.told()[: MOST_FAULTS_KEPT + 1],
    )
