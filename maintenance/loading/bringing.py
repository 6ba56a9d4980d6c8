"""Files by page: sent, looked at, taken in as a whole or put aside; what is large, in the background."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.loading import brought
from maintenance.loading.faults import Fault, Report
from maintenance.loading.loader import load_folder
from maintenance.models import FilesBrought
from plant import clock
from plant.access import require
from plant.background.queueing import enqueue
from plant.models import Job, User

LOOK_TASK = "look at files that were brought"
TAKE_TASK = "take in files that were brought"
#: What is larger is looked at and taken in in the background: some two thousand rows, about a second.
LARGE_BYTES = 200_000
MOST_TOLD = 500
State = FilesBrought.State


def send(sent: Sequence[brought.Sent], *, key: UUID, by: User) -> FilesBrought:
    """Keep files that somebody sends and look at them; sent twice with one key they are there once.

    Raises
    ------
    ValidationError
        where one cannot be a mill's file; then nothing is kept.
    """
    require(by, "bring files in")
    known = FilesBrought.objects.filter(key=key).first()
    if known is not None:
        return known
    files = brought.keep(key, sent)
    with transaction.atomic():
        found = FilesBrought.objects.create(key=key, sent_at=clock.now(), by=by, files=files)
        if is_large(found):
            _want(LOOK_TASK, found, by)
    if not is_large(found):
        look(found.pk)
        found.refresh_from_db()
    return found


def is_large(found: FilesBrought) -> bool:
    """Say whether the background is to do it."""
    return sum(int(one["bytes"]) for one in found.files) > LARGE_BYTES


def _want(what: str, found: FilesBrought, by: User) -> None:
    found.turn += 1
    found.save(update_fields=["turn"])
    enqueue(what, job_key(found), {"brought": found.pk, "by": by.pk}, by=by)


def job_key(found: FilesBrought) -> str:
    """Return the key of the last job about the files."""
    return f"files {found.key.hex} {found.turn}"


def look(pk: int) -> None:
    """Look at files and keep what was found, nothing else."""
    found = FilesBrought.objects.select_related("by").get(pk=pk)
    if found.state not in (State.WAITING, State.LOOKED_AT) or not _are_there(found):
        return
    progress = brought.FolderProgress(found.key)
    folder = brought.folder_of(found.key)
    report = load_folder(folder, is_check=True, by=found.by, progress=progress, taken_out=found.taken_out)
    with transaction.atomic():
        locked = FilesBrought.objects.select_for_update().get(pk=pk)
        if locked.state in (State.WAITING, State.LOOKED_AT):
            keep_report(locked, report)


def keep_report(found: FilesBrought, report: Report) -> None:
    """Keep what a look at files found."""
    found.state, found.report, found.digest = State.LOOKED_AT, as_json(report), report.digest
    found.save(update_fields=["state", "report", "digest"])


def _are_there(found: FilesBrought) -> bool:
    """Say whether the files are as they were sent; where not, nothing can become of them."""
    if brought.are_as_kept(found.key, found.files):
        return True
    FilesBrought.objects.filter(pk=found.pk).exclude(state=State.TAKEN).update(state=State.ASIDE, ended_at=clock.now())
    return False


def agree(key: UUID, digest: str, *, by: User) -> FilesBrought:
    """Take files in as they were shown, now or in the background.

    Raises
    ------
    ValidationError
        where they are taken in or put aside already, cannot be, or were shown otherwise.
    """
    require(by, "bring files in")
    with transaction.atomic():
        found = FilesBrought.objects.select_for_update().filter(key=key).first()
        if found is None or found.state == State.ASIDE:
            raise ValidationError(_("These files are no longer kept here. Send them again."))
        if found.state == State.TAKEN:
            raise ValidationError(_("These files were taken in already; nothing was done a second time."))
        if found.state == State.BEING_TAKEN:
            raise ValidationError(_("These files are being taken in just now."))
        if found.state != State.LOOKED_AT or found.report.get("faults"):
            raise ValidationError(_("These files cannot be taken in yet: see below what is still to be done."))
        if found.digest != digest:
            raise ValidationError(_("The files were looked at anew since you opened the page: look once more."))
        found.state = State.BEING_TAKEN
        found.save(update_fields=["state"])
        if is_large(found):
            _want(TAKE_TASK, found, by)
        else:
            take_in(found.pk, by)
    found.refresh_from_db()
    return found


def take_in(pk: int, by: User | None) -> dict[str, Any]:
    """Load files that somebody agreed to; a second time does nothing more.

    Where the mill has changed since they were looked at, so that they would do something else, nothing is kept and
    they are shown anew.
    """
    with transaction.atomic():
        found = FilesBrought.objects.select_for_update().get(pk=pk)
        if found.state != State.BEING_TAKEN or not _are_there(found):
            return {}
        report = load_folder(
            brought.folder_of(found.key),
            by=by,
            agreed=found.digest,
            taken_out=found.taken_out,
            progress=brought.FolderProgress(found.key),
        )
        keep_report(found, report)
        if report.is_kept:
            found.state, found.ended_at, found.ended_by = State.TAKEN, clock.now(), by
            found.save(update_fields=["state", "ended_at", "ended_by"])
        else:
            found.report["is_otherwise"] = True
            found.save(update_fields=["report"])
    if report.is_kept:
        brought.clear(found.key)
    return {name: str(counts) for name, counts in report.counts.items()} if report.is_kept else {}


def decide(key: UUID, taken_out: str, *, by: User) -> bool:
    """Say what is to be of charges that were taken out of the programme, and look anew; False where it is too late."""
    require(by, "bring files in")
    with transaction.atomic():
        found = FilesBrought.objects.select_for_update().filter(key=key, state=State.LOOKED_AT).first()
        if found is None:
            return False
        found.taken_out, found.state = FilesBrought.TakenOut(taken_out), State.WAITING
        found.save(update_fields=["taken_out", "state"])
        if is_large(found):
            _want(LOOK_TASK, found, by)
    if not is_large(found):
        look(found.pk)
    return True


def put_aside(key: UUID, *, by: User) -> bool:
    """Clear files away that are not wanted; False where they are being taken in or were."""
    require(by, "bring files in")
    with transaction.atomic():
        found = FilesBrought.objects.select_for_update().filter(key=key).first()
        if found is None or found.state not in (State.WAITING, State.LOOKED_AT):
            return False
        found.state, found.ended_at, found.ended_by = State.ASIDE, clock.now(), by
        found.save(update_fields=["state", "ended_at", "ended_by"])
    brought.clear(key)
    return True


def give_back(found: FilesBrought) -> None:
    """Let files whose background work was given up be looked at and agreed to anew."""
    job = Job.objects.filter(key=job_key(found)).first()
    if job is not None and job.state == Job.State.FAILED and found.is_under_way:
        state = State.LOOKED_AT if found.report else State.ASIDE
        FilesBrought.objects.filter(pk=found.pk, state=found.state).update(state=state)


def as_json(report: Report) -> dict[str, Any]:
    """Return a report as it is kept; of endless faults and warnings the first, with how many there are."""
    faults, warnings = report.faults, report.warnings
    return {
        "faults": [_fault(one) for one in faults[:MOST_TOLD]],
        "fault_count": len(faults),
        "warnings": [_fault(one) for one in warnings[:MOST_TOLD]],
        "warning_count": len(warnings),
        "notes": report.notes,
        "tables": [
            {"table": name, "file": file, **_figures(report, name, file)}
            for name, file in sorted(report.files.items(), key=lambda pair: pair[1])
        ],
        "changes": [asdict(one) for one in report.changes[:MOST_TOLD]],
        "has_changes": report.has_changes,
        "taken_out": report.taken_out,
        "runs": [asdict(one) for one in report.runs],
    }


def _figures(report: Report, name: str, file: str) -> dict[str, int | None]:
    """Return how many rows of a file are new, changed, as they are and at fault; None where they were not read."""
    if name not in report.counts:
        return dict.fromkeys(("new", "changed", "unchanged", "faulty"))
    faulty = {fault.row for fault in report.faults if fault.file == file and fault.row}
    return asdict(report.counts[name]) | {"faulty": len(faulty)}


def _fault(fault: Fault) -> dict[str, Any]:
    # A reason that does not begin with a file's name begins a sentence.
    first, _, _rest = fault.reason.partition(" ")
    reason = fault.reason if "." in first else fault.reason[:1].upper() + fault.reason[1:]
    return asdict(fault) | {"value": fault.value[:80], "reason": reason}
