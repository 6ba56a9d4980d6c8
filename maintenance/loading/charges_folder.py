"""A watched folder: the mill's charges, as CSV or XLSX in the form of the loader, are taken in when a file is whole.

Each content is taken once, as a whole or not at all. Where a person planned or told a charge, the file leaves it alone,
and what differs is shown beside ours. Nothing in the folder is moved or changed; what came of a file stands among the
files that were brought.
"""

import logging
import time
from collections.abc import Iterable
from pathlib import Path
from uuid import NAMESPACE_OID, UUID, uuid5

from django.conf import settings
from django.db import transaction

from maintenance.loading import brought
from maintenance.loading.bringing import State, keep_report
from maintenance.loading.loader import load_folder
from maintenance.loading.reading import SUFFIXES
from maintenance.models import FilesBrought
from plant import clock
from plant.background.queueing import enqueue
from plant.models import ChargeClaim

logger = logging.getLogger(__name__)

TASK = "take in charges of the watched folder"
# A file is whole when nothing was written to it for so long.
QUIET_S = 10


class Found:
    """A file of the folder, as if it had been sent: whatever its name, it must hold charges."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name: str | None = f"charges{path.suffix.lower()}"
        self.size: int | None = path.stat().st_size

    def chunks(self) -> Iterable[bytes]:
        """Give it whole."""
        return [self.path.read_bytes()]


def whole_files() -> list[Path]:
    """Return the files that nobody writes to any more, oldest first; none where no folder is watched."""
    if not settings.CHARGES_DIR:
        return []
    folder, now = Path(settings.CHARGES_DIR), time.time()
    try:
        files = [path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES and path.is_file()]
        files = [path for path in files if not path.name.startswith((".", "~"))]
        found = [(path.stat().st_mtime, path) for path in files]
    except OSError as fault:
        logger.warning("The folder of charges cannot be looked at: %s", fault)
        return []
    return [path for changed, path in sorted(found) if now - changed >= QUIET_S]


def look_at_charges_folder() -> None:
    """Want the new files of the folder to be taken in."""
    fresh = new_files()
    if fresh:
        enqueue(TASK, key=f"{TASK} {list(fresh)[-1].hex}")


def take_in_charges() -> dict[str, int]:
    """Take in the whole files that are new, each as a whole or not at all; say how many were and how many were not."""
    counts = {"taken_in": 0, "refused": 0}
    for key, path in new_files().items():
        counts["taken_in" if _take_in(key, path) else "refused"] += 1
    return counts


def new_files() -> dict[UUID, Path]:
    """Return the whole files whose content was not taken yet, by a key of the content, oldest first."""
    found: dict[UUID, Path] = {}
    for path in whole_files():
        found.setdefault(uuid5(NAMESPACE_OID, f"charges folder {brought.digest_of(path)}"), path)
    known = set(FilesBrought.objects.filter(key__in=found).values_list("key", flat=True))
    return {key: path for key, path in found.items() if key not in known}


@transaction.atomic
def _take_in(key: UUID, path: Path) -> bool:
    brought.clear(key)
    files = brought.keep(key, [Found(path)])
    found = FilesBrought.objects.create(key=key, sent_at=clock.now(), files=files)
    report = load_folder(brought.folder_of(key), source=ChargeClaim.FOLDER)
    keep_report(found, report)
    if report.is_kept:
        found.state, found.ended_at = State.TAKEN, clock.now()
        found.save(update_fields=["state", "ended_at"])
        brought.clear(key)
    return report.is_kept
