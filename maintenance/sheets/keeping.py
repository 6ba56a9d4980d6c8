"""Write, copy, change, withdraw and bring back the mill's own task sheets and check points; every version is kept."""

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils.text import slugify
from django.utils.translation import gettext as _

from maintenance.models import CheckItem, CheckPoint, PointVersion, SheetVersion, StandingTask, TaskSheet, Watch
from maintenance.models.versions import OWN
from maintenance.recurring.editing import withdraw_standing_task
from maintenance.sheets.calculations.differences import differences
from maintenance.sheets.content import Content, content_of, write_content
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence
from plant.models import Change, User

RIGHT = "edit task sheets"
Row = TaskSheet | CheckPoint
LONGEST_CODE = 60


def versions_of(row: Row) -> Any:
    """Return the model of a row's earlier versions."""
    return SheetVersion if isinstance(row, TaskSheet) else PointVersion


def fresh_code(row: Row, key: UUID) -> str:
    """Make the code of a new one: from what it is called and the key of its form, so that a second sending is known."""
    words = row.title if isinstance(row, TaskSheet) else row.what
    return f"{OWN}{slugify(words)[:44].strip('-') or 'sheet'}-{key.hex[:8]}"


@transaction.atomic
def make(row: Row, content: Content, *, key: UUID, by: User | None, copied: Row | None = None) -> Row:
    """Put one of the mill's own on record, from nothing or as a copy; sent twice, it is made once."""
    require(by, RIGHT)
    # The same form sent twice at once: one after the other.
    list(User.objects.select_for_update().filter(pk=by.pk) if by else ())
    known: Row | None = type(row).objects.filter(code__startswith=OWN, code__endswith=f"-{key.hex[:8]}").first()
    if known:
        return known
    for name in ("title", "what"):
        if name in content:
            setattr(row, name, content[name])
    row.is_own, row.code = True, fresh_code(row, key)
    if copied is not None:
        row.copied_from, row.copied_version = copied, copied.version
    write_content(row, content)
    said = Sentence.of("sheet.copied", what=str(copied)) if copied else ()
    Change.record(row, "copied" if copied else "made", by=by, said=said)
    return row


@transaction.atomic
def change(row: Row, content: Content, *, version: int, why: str, by: User | None) -> bool:
    """Give one of the mill's own a new version; say whether anything is different.

    Work that is raised keeps the version it was raised by, whether it has begun or not; a caution that is new counts
    for it at once until it is done. Raises ValidationError for what comes with the program, for a stale version, and
    for what cannot change any more once it was used.
    """
    require(by, RIGHT)
    row = _locked(row, version)
    if not row.is_own:
        raise ValidationError(_("It comes with the program: copy it, and change the copy."), code="shipped")
    before = content_of(row)
    found = differences(before, content)
    if not found:
        return False
    _refuse_fixed(row, before, content)
    supersede(row, before, why=why.strip(), by=by)
    write_content(row, content)
    said = Sentence.of("sheet.version", number=row.version)
    Change.record(row, "changed", by=by, said=said, note=why.strip())
    return True


def supersede(row: Row, before: Content, *, why: str, by: User | None) -> None:
    """Keep what a row said until now, and number the next version; whoever calls it stores the row."""
    versions_of(row).objects.create(
        of=row, no=row.version, content=before, superseded_at=clock.now(), superseded_by=by, why=why[:200]
    )
    row.version += 1


def _locked(row: Row, version: int) -> Row:
    found: Row = type(row).objects.select_for_update(of=("self",)).get(pk=row.pk)
    if found.version != version:
        last = Change.objects.about(found).last()
        raise ValidationError(
            _(
                "%(who)s changed this meanwhile: it is at version %(now)d, you began with %(seen)d. What you typed is "
                "kept below; look at the present version in another window, then send it again to write yours over it."
            )
            % {"who": (last and last.by) or _("The program's catalogue"), "now": found.version, "seen": version},
            code="stale",
        )
    return found


def is_used(row: Row) -> bool:
    """Say whether anything on record was raised by it, recurs by it or looks at it."""
    if isinstance(row, TaskSheet):
        return row.work_orders.exists() or row.standing_tasks.exists() or row.watches.exists()
    return CheckItem.objects.filter(point=row).exists()


#: What work, checks and bars to entry rest on: it stays once one of them is on record.
FIXED_ONCE_USED = {
    TaskSheet: ("kind", "is_proof_test"),
    CheckPoint: ("kind", "per", "seen_in", "blocks_entry"),
}


def _refuse_fixed(row: Row, before: Content, content: Content) -> None:
    changed = [name for name in FIXED_ONCE_USED[type(row)] if before[name] != content[name]]
    if not changed:
        return
    if is_used(row):
        fault = _("This stays as it was: work on record rests on it. Copy it, and withdraw this one.")
        raise ValidationError(dict.fromkeys(changed, fault))
    # As if it were withdrawn: it would be another one from now on.
    refuse_withdrawal(row)


@transaction.atomic
def take_note(row: Row, *, by: User | None) -> None:
    """Say that what the shipped one has changed since was looked at; the copy stays as it is."""
    require(by, RIGHT)
    row = type(row).objects.select_for_update(of=("self",)).select_related("copied_from").get(pk=row.pk)
    if row.copied_from is None or not row.has_news:
        return
    row.copied_version = row.copied_from.version
    row.save(update_fields=["copied_version"])
    Change.record(row, "looked at", by=by, said=Sentence.of("sheet.looked_at", number=row.copied_version))


def tasks_of(sheet: TaskSheet) -> list[StandingTask]:
    """Return what recurs by a sheet."""
    tasks = StandingTask.objects.in_use().filter(sheet=sheet).select_related("kiln", "component", "sheet")
    return list(tasks.order_by("kiln__tag", "pk"))


def refuse_withdrawal(row: Row) -> None:
    """Refuse to withdraw what nothing else does. Raises ValidationError."""
    others = type(row).objects.in_use().filter(kind=row.kind_id).exclude(pk=row.pk)
    if isinstance(row, TaskSheet):
        if row.is_proof_test and not others.filter(is_proof_test=True).exists():
            raise ValidationError(
                _("It is the only proof test of %(kind)s: write or copy another first, then withdraw this one.")
                % {"kind": row.kind}
            )
        return
    if row.blocks_entry and not _asks_the_same(row, others.filter(blocks_entry=True)).exists():
        raise ValidationError(
            _(
                "A fault here keeps people out of the chamber, and no copy of it in use asks for it: copy it first. "
                "The copy then takes its place."
            )
        )
    if leans := CheckPoint.objects.in_use().filter(substitute=row).first():
        raise ValidationError(
            _("It stands in for “%(what)s”: withdraw that one first, or give a copy of it another substitute.")
            % {"what": leans}
        )


def _asks_the_same(row: CheckPoint, others: Any) -> Any:
    """Return the copies of a point, and what it was copied from; of one the mill made up, any other of its kind."""
    if row.is_own and row.copied_from_id is None:
        return others
    original = row.copied_from_id or row.pk
    return others.filter(Q(pk=original) | Q(copied_from=original))


@transaction.atomic
def withdraw(row: Row, why: str, *, by: User | None, instead: TaskSheet | None = None) -> Row:
    """Let no new work come from a row; what is on record keeps it.

    What recurs by a sheet goes on by ``instead``, watches too; without one it recurs no longer, and watches ask for
    work without a sheet. Raises ValidationError without a reason, where nothing else does what it does, and where
    safety work would end.
    """
    require(by, RIGHT)
    row = type(row).objects.select_for_update(of=("self",)).get(pk=row.pk)
    if row.is_withdrawn:
        return row
    why = why.strip()
    if not why:
        raise ValidationError({"why": _("Say why: whoever looks for it will ask.")})
    refuse_withdrawal(row)
    if isinstance(row, TaskSheet):
        _hand_over(row, instead, why, by)
    row.withdrawn_at, row.withdrawn_why = clock.now(), why[:200]
    row.save(update_fields=["withdrawn_at", "withdrawn_why"])
    Change.record(row, "withdrawn", by=by, note=why)
    return row


def _hand_over(sheet: TaskSheet, instead: TaskSheet | None, why: str, by: User | None) -> None:
    tasks = tasks_of(sheet)
    if instead is not None and (
        instead.is_withdrawn or instead.kind_id != sheet.kind_id or instead.is_proof_test != sheet.is_proof_test
    ):
        raise ValidationError({"instead": _("Choose one in use, for the same kind of component.")})
    if instead is None and tasks and (sheet.is_safety or sheet.is_proof_test or any(one.is_safety for one in tasks)):
        raise ValidationError({"instead": _("Safety work recurs by it: choose the sheet by which it goes on.")})
    for task in tasks:
        if instead is None:
            withdraw_standing_task(task, why[:200], version=task.version, by=by)
            continue
        task.sheet = instead
        task.is_safety = task.is_safety or instead.is_safety
        task.version += 1
        task.save(update_fields=["sheet", "is_safety", "version"])
        said = Sentence.of("sheet.goes_on", sheet=str(instead), former=str(sheet))
        Change.record(task, "goes on by another sheet", by=by, said=said)
    for watch in Watch.objects.filter(sheet=sheet):
        watch.sheet = instead
        watch.version += 1
        watch.save(update_fields=["sheet", "version"])
        goes_on = Sentence.of("sheet.goes_on", sheet=str(instead), former=str(sheet))
        said = goes_on if instead else Sentence.of("sheet.without", former=str(sheet))
        Change.record(watch, "goes on by another sheet", by=by, said=said)


@transaction.atomic
def bring_back(row: Row, *, by: User | None) -> Row:
    """Let new work come from a row again; what recurred by it does not come back by itself."""
    require(by, RIGHT)
    row = type(row).objects.select_for_update(of=("self",)).get(pk=row.pk)
    if row.is_withdrawn:
        row.withdrawn_at, row.withdrawn_why = None, ""
        row.save(update_fields=["withdrawn_at", "withdrawn_why"])
        Change.record(row, "brought back", by=by)
    return row
