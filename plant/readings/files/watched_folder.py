"""Files that loggers lay down in a watched folder are taken in by themselves, whole ones only, each once.

Nothing in the folder is moved or changed. What was seen is noted beside the data, so that a folder of thousands of
files is not read each minute; whether a file was taken in stands in the database alone.
"""

import json
import logging
import time
from dataclasses import asdict, dataclass
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone

from plant.background.queueing import enqueue
from plant.background.registry import Progress
from plant.basics.sentences import typed
from plant.models import FileIntake, Job, ReadingSource
from plant.readings.files.calculations.faults import FaultyFileError
from plant.readings.files.file_intake import digest_of, record_refusal, refuse_large, remembered, take_in_file
from plant.readings.files.folders import files_in, folder_below

logger = logging.getLogger(__name__)

TASK = "take in files of a folder"
# A file is whole when nothing was written to it for so long, between two looks.
QUIET_S = 10
# One that does not end with a line is waited for: its last number may be half written. After so long it is what it is.
UNENDED_S = 15 * 60
# A job ends well before a task's time is over; the next look goes on.
WORK_S = 200


@dataclass
class Sight:
    """A file as it was seen last: size and time of the last change, since when they are so, whether it is done with."""

    size: int
    changed_ns: int
    since: float
    is_done: bool = False


class Sights:
    """What was seen of a source's folder, kept in a file beside the data."""

    def __init__(self, source: ReadingSource) -> None:
        self.path = Path(settings.DATA_DIR) / "watched" / f"{source.pk}.json"
        # Whatever was confirmed anew may let files in that were refused before.
        known = remembered(source)
        self.confirmed_at = known.confirmed_at if known else ""
        self.seen: dict[str, Sight] = {}
        try:
            kept = json.loads(self.path.read_text(encoding="utf-8"))
            if kept["confirmed_at"] == self.confirmed_at and kept["folder"] == source.folder:
                self.seen = {name: Sight(**sight) for name, sight in kept["seen"].items()}
        except (OSError, ValueError, KeyError, TypeError):
            # None yet, or half written when the machine stopped: then everything is looked at once more.
            self.seen = {}
        self.folder = source.folder

    def look(self, paths: list[Path], now: float) -> tuple[list[Path], bool]:
        """Note how the files are; return those that are whole and not done with, and whether others may be soon."""
        ready, may_be_soon = [], False
        present = set()
        for path in paths:
            try:
                stat = path.stat()
            except FileNotFoundError:
                continue
            present.add(path.name)
            sight = self.seen.get(path.name)
            if sight is None or (sight.size, sight.changed_ns) != (stat.st_size, stat.st_mtime_ns):
                self.seen[path.name] = Sight(stat.st_size, stat.st_mtime_ns, now)
                may_be_soon = True
            elif not sight.is_done and now - sight.since >= QUIET_S:
                ready.append(path)
            elif not sight.is_done:
                may_be_soon = True
        self.seen = {name: sight for name, sight in self.seen.items() if name in present}
        return ready, may_be_soon

    def keep(self) -> None:
        """Write them down, whole or not at all."""
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh = self.path.with_suffix(".new")
        seen = {name: asdict(sight) for name, sight in self.seen.items()}
        kept = {"confirmed_at": self.confirmed_at, "folder": self.folder, "seen": seen}
        fresh.write_text(json.dumps(kept), encoding="utf-8")
        fresh.replace(self.path)


def watched_sources() -> list[ReadingSource]:
    """Return the sources in use whose folder is watched."""
    way = ReadingSource.Way.FILES
    return list(ReadingSource.objects.filter(way=way, is_active=True).exclude(folder=""))


def look_at_folders() -> list[Job]:
    """Want the files of each watched folder taken in where there are any; cheap where nothing changed."""
    wanted = []
    for source in watched_sources():
        try:
            paths = files_in(folder_below(source.folder))
        except (ValidationError, OSError) as fault:
            # The page of the source says so as well; other folders are looked at all the same.
            logger.warning("The folder of %s cannot be looked at: %s", source.code, fault)
            continue
        sights = Sights(source)
        ready, may_be_soon = sights.look(paths, time.time())
        sights.keep()
        if ready or may_be_soon:
            wanted += _want(source, is_at_once=bool(ready) and not may_be_soon)
    return wanted


def _want(source: ReadingSource, *, is_at_once: bool) -> list[Job]:
    moment = timezone.now()
    key = f"{TASK} {source.code} "
    unfinished = [Job.State.WAITING, Job.State.UNDER_WAY]
    if Job.objects.filter(what=TASK, key__startswith=key, state__in=unfinished).exists():
        return []
    pause = timedelta() if is_at_once else timedelta(seconds=QUIET_S + 2)
    return [enqueue(TASK, f"{key}{moment:%Y-%m-%d %H:%M:%S}", {"source": source.pk}, not_before_at=moment + pause)]


def take_in_folder(source: ReadingSource, progress: Progress | None = None) -> dict[str, int]:
    """Take in the whole files of a source's folder; return how many were taken in, refused, and known already."""
    counts = {"taken_in": 0, "refused": 0, "known": 0}
    if not source.is_active or not source.folder:
        return counts
    sights = Sights(source)
    ready, _may_be_soon = sights.look(files_in(folder_below(source.folder)), time.time())
    begun = time.monotonic()
    for number, path in enumerate(ready):
        if time.monotonic() - begun > WORK_S:
            break
        if progress is not None:
            progress(number, len(ready), typed(path.name))
        outcome = _take_in(source, path, sights)
        if outcome:
            counts[outcome] += 1
            sights.seen[path.name].is_done = True
    sights.keep()
    return counts


def _take_in(source: ReadingSource, path: Path, sights: Sights) -> str:
    """Take one file in; return what became of it, empty where it is not whole yet."""
    sight = sights.seen[path.name]
    try:
        refuse_large(sight.size)
        raw = path.read_bytes()
        stat = path.stat()
    except FaultyFileError as fault:
        # Known again by its size: it is too large to be read each time.
        return _refuse(source, f"{path.name} {sight.size}".encode(), path.name, fault)
    except OSError as fault:
        logger.warning("%s of %s cannot be read: %s", path.name, source.code, fault)
        return ""
    if (stat.st_size, stat.st_mtime_ns) != (sight.size, sight.changed_ns) or len(raw) != sight.size:
        return ""
    is_old = time.time() - stat.st_mtime > UNENDED_S
    if raw and not raw.rstrip(b"\0").endswith((b"\n", b"\r")) and not is_old:
        return ""
    if FileIntake.objects.filter(source=source, digest=digest_of(raw), is_taken_in=True).exists():
        return "known"
    try:
        take_in_file(source, raw, path.name, by=None)
    except FaultyFileError as fault:
        return _refuse(source, raw, path.name, fault)
    return "taken_in"


def _refuse(source: ReadingSource, raw: bytes, name: str, fault: FaultyFileError) -> str:
    """Put a refusal on record, once for each file and way of reading."""
    known = remembered(source)
    refused = FileIntake.objects.filter(source=source, digest=digest_of(raw), is_taken_in=False)
    if known is not None and known.confirmed_at:
        refused = refused.filter(at__gt=known.confirmed_at)
    if refused.exists():
        return "known"
    record_refusal(source, raw, name, fault, by=None)
    return "refused"


def trouble_of(source: ReadingSource) -> str:
    """Say why a source's folder cannot be looked at; empty where it can, or none is watched."""
    if not source.folder or not source.is_active:
        return ""
    try:
        files_in(folder_below(source.folder))
    except ValidationError as fault:
        return " ".join(fault.messages)
    except OSError as fault:
        return str(fault.strerror)
    return ""


def file_of(intake: FileIntake) -> bytes | None:
    """Return the file of a refusal as long as it lies in the folder unchanged; None where it does not."""
    source = intake.source
    if not source.folder:
        return None
    try:
        for path in files_in(folder_below(source.folder)):
            if path.name == intake.file_name and path.stat().st_size <= settings.MAX_LOAD_BYTES:
                raw = path.read_bytes()
                return raw if digest_of(raw) == intake.digest else None
    except (ValidationError, OSError) as fault:
        logger.warning("The folder of %s cannot be looked at: %s", source.code, fault)
    return None
