"""Downtime: reported, ended, and corrected with a reason; the history keeps what stood there before."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant import clock
from plant.access import require
from plant.frame.particulars import particulars, refuse_stale, save_changed
from plant.models import Change, Component, Downtime, Kiln, User
from plant.warnings.running_bars import lock_kiln, refuse_running

FIELDS = ("kind", "start_at", "end_at", "announced_at", "share_lost", "component", "cause", "expected_end_at")


@dataclass(frozen=True, slots=True)
class DowntimeFacts:
    """What a report of downtime says."""

    kind: str
    start_at: datetime
    end_at: datetime | None = None
    announced_at: datetime | None = None
    share_lost: Decimal = Decimal(1)
    component: Component | None = None
    cause: str = ""
    expected_end_at: datetime | None = None

    @property
    def is_stop(self) -> bool:
        """Say whether the kiln stands."""
        return self.kind != Downtime.Kind.NO_TIMBER and Decimal(self.share_lost) == 1


@transaction.atomic
def report_downtime(
    kiln: Kiln,
    facts: DowntimeFacts,
    *,
    by: User | None,
    key: UUID | None = None,
    charge_end_unknown_at: datetime | None = None,
) -> Downtime:
    """Put a downtime on record."""
    require(by, "report downtime")
    kiln = lock_kiln(kiln.pk)
    check_facts(kiln, facts)
    record = Downtime.objects.create(kiln=kiln, key=key, charge_end_unknown_at=charge_end_unknown_at, **_values(facts))
    Change.record(record, "reported", by=by, after=particulars(record, FIELDS))
    Change.record(
        kiln,
        "downtime reported",
        by=by,
        after={"kind": str(record.get_kind_display()), "start_at": record.start_at.isoformat(), "cause": record.cause},
    )
    return record


@transaction.atomic
def correct_downtime(record: Downtime, facts: DowntimeFacts, *, seen: str, why: str, by: User | None) -> Downtime:
    """Put a record right; the history keeps the former one and the reason."""
    require(by, "report downtime")
    kiln = lock_kiln(record.kiln_id)
    record = Downtime.objects.select_for_update().get(pk=record.pk)
    refuse_stale(record, FIELDS, seen)
    if lets_run(record, facts, clock.now()):
        refuse_running(kiln)
    if not why.strip():
        raise ValidationError({"why": _("Say why the record is corrected: the history keeps the reason.")})
    check_facts(kiln, facts, besides=record)
    if save_changed(record, _values(facts), "corrected", by=by, note=why):
        Change.record(
            kiln,
            "downtime corrected",
            by=by,
            after={"kind": str(record.get_kind_display()), "start_at": record.start_at.isoformat()},
            note=why,
        )
    return record


@transaction.atomic
def end_downtime(record: Downtime, end_at: datetime, *, by: User | None) -> Downtime:
    """End a downtime that goes on."""
    require(by, "report downtime")
    kiln = lock_kiln(record.kiln_id)
    record = Downtime.objects.select_for_update().get(pk=record.pk)
    if record.end_at is not None:
        raise ValidationError(_("This downtime has ended already, %(end)s.") % {"end": _say(record.end_at)})
    _check_span(record.start_at, end_at)
    if end_at > clock.now():
        raise ValidationError(
            {"end_at": _("The end lies ahead. Give the instant at which the kiln was able to dry again.")}
        )
    refuse_running(kiln)
    save_changed(record, {"end_at": end_at}, "ended", by=by)
    Change.record(
        kiln,
        "downtime ended",
        by=by,
        after={"start_at": record.start_at.isoformat(), "end_at": end_at.isoformat()},
    )
    return record


@transaction.atomic
def take_back_downtime(record: Downtime, *, why: str, by: User | None) -> None:
    """Take a record away that was never so; the history of the kiln keeps it with the reason."""
    require(by, "report downtime")
    kiln = lock_kiln(record.kiln_id)
    record = Downtime.objects.select_for_update().get(pk=record.pk)
    if not why.strip():
        raise ValidationError({"why": _("Say why it is taken back: the history keeps the reason.")})
    if record.end_at is None or record.end_at > clock.now():
        refuse_running(kiln)
    stood = particulars(record, FIELDS)
    Change.record(record, "taken back", by=by, before=stood, note=why.strip())
    Change.record(kiln, "downtime taken back", by=by, before=stood, note=why.strip())
    record.delete()


def lets_run(before: Downtime | DowntimeFacts, after: Downtime | DowntimeFacts, now: datetime) -> bool:
    """Say whether a record that keeps the kiln from running does so for less time or less of it from now on."""
    if before.end_at is not None and before.end_at <= now:
        return False
    is_shorter = after.end_at is not None and (before.end_at is None or after.end_at < before.end_at)
    begins_later = after.start_at > max(now, before.start_at)
    holds_less = Decimal(after.share_lost) < Decimal(before.share_lost)
    is_another = after.kind != before.kind and after.kind == Downtime.Kind.NO_TIMBER
    return is_shorter or begins_later or holds_less or is_another


def check_facts(kiln: Kiln, facts: DowntimeFacts, besides: Downtime | None = None) -> None:
    """Refuse what cannot be: an end before the start, or one record inside another of the same kind."""
    _check_span(facts.start_at, facts.end_at)
    if facts.kind == Downtime.Kind.UNPLANNED and facts.start_at > clock.now():
        raise ValidationError({"start_at": _("An unplanned stop cannot start in the future. Enter it as planned.")})
    if facts.kind == Downtime.Kind.EXTERNAL and not facts.cause.strip():
        raise ValidationError({"cause": _("Say what came from outside, a power cut for instance.")})
    if facts.kind == Downtime.Kind.NO_TIMBER and Decimal(facts.share_lost) != 1:
        raise ValidationError({"share_lost_pct": _("Without timber the whole kiln waits: give 100 %.")})
    _check_expected(facts, besides)
    others = Downtime.objects.filter(kiln=kiln, kind=facts.kind)
    if besides:
        others = others.exclude(pk=besides.pk)
    for other in others.reaching_into(
        facts.start_at, facts.end_at or datetime.max.replace(tzinfo=facts.start_at.tzinfo)
    ):
        # Slowings of different components may lie inside one another: each takes its share.
        are_slowings = Decimal(other.share_lost) < 1 and Decimal(facts.share_lost) < 1
        are_apart = facts.component is not None and other.component_id not in (None, facts.component.pk)
        if are_slowings and are_apart and other.start_at != facts.start_at:
            continue
        # Nobody knows how long an open record will last: what lies ahead is not inside it.
        now = clock.now()
        if (facts.end_at is None and other.start_at > now) or (other.end_at is None and facts.start_at > now):
            continue
        # A kiln that stands cannot stop for the same cause once more: of two such stops, one is wrong.
        are_stops = facts.kind != Downtime.Kind.PLANNED and facts.is_stop and other.is_stop
        if (
            (are_stops and not are_apart)
            or _lies_inside(facts.start_at, facts.end_at, other.start_at, other.end_at)
            or _lies_inside(other.start_at, other.end_at, facts.start_at, facts.end_at)
        ):
            raise ValidationError({"start_at": _inside_words(kiln, other)}, code="inside")


def _values(facts: DowntimeFacts) -> dict[str, Any]:
    return {name: getattr(facts, name) for name in FIELDS}


def _check_expected(facts: DowntimeFacts, besides: Downtime | None) -> None:
    until_at = facts.expected_end_at
    if until_at is None or (besides and besides.expected_end_at == until_at):
        return
    if until_at <= max(facts.start_at, clock.now()):
        message = _(
            "%(until)s has gone by, or lies before the start: it cannot last until then. Give an instant ahead, or "
            "leave it empty where nobody knows."
        )
        raise ValidationError({"expected_end_at": message % {"until": _say(until_at)}}, code="expected")


def _check_span(start_at: datetime, end_at: datetime | None) -> None:
    if end_at is not None and end_at <= start_at:
        message = _("The end, %(end)s, is not after the start, %(start)s. Correct one of them, or leave the end empty.")
        raise ValidationError({"end_at": message % {"end": _say(end_at), "start": _say(start_at)}}, code="order")


def _lies_inside(
    start_at: datetime, end_at: datetime | None, outer_start: datetime, outer_end: datetime | None
) -> bool:
    is_before_end = outer_end is None or (end_at is not None and end_at <= outer_end)
    return outer_start <= start_at and is_before_end


def _inside_words(kiln: Kiln, other: Downtime) -> str:
    until = _say(other.end_at) if other.end_at else _("now, it is still open")
    return _(
        "%(kiln)s is on record as %(kind)s from %(start)s until %(end)s%(cause)s already, and the two share time "
        "or one lies inside the other. Correct that record, or give this one times of its own or another kind."
    ) % {
        "kiln": kiln,
        "kind": other.get_kind_display(),
        "start": _say(other.start_at),
        "end": until,
        "cause": f" ({other.cause})" if other.cause else "",
    }


def _say(at: datetime) -> str:
    return date_format(timezone.localtime(at), "j M Y H:i")
