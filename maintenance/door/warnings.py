"""What must be said of kilns because of entry: an alarm, nobody may enter, somebody is inside."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.door.closing import SHOUTED
from maintenance.entry.bars import bars_to_entry
from maintenance.entry.now import EntryNow, entry_now, work_inside
from maintenance.models import EntryAlarm, EntryPermit
from plant import clock
from plant.frame.figures import span
from plant.models import Kiln
from plant.warnings.kiln_warnings import KilnWarning, WarningKind


def entry_warnings() -> Iterable[KilnWarning]:
    """Say it for each kiln."""
    stands = entry_now()
    yield from alarms_said(stands)
    yield from bars_said()
    yield from closings_said()
    for stand in stands.values():
        yield from _entry_said(stand)


def alarms_said(stands: Mapping[int, EntryNow]) -> Iterable[KilnWarning]:
    """Shout what is reported while people are inside; say in a lower voice what nobody has answered since."""
    # With ``is_over`` and ``is_answered``, which the model does not know.
    alarms: list[Any] = list(EntryAlarm.objects.shown())
    if not alarms:
        return
    open_ones = {stand.permit.pk for stand in stands.values()}
    alone = [one.kiln_id for one in alarms if one.permit_id is None and not one.is_over]
    sittings, jobs = work_inside(alone) if alone else ({}, {})
    for alarm in alarms:
        if alarm.permit_id is None:
            is_on = bool(sittings.get(alarm.kiln_id) or jobs.get(alarm.kiln_id))
        else:
            is_on = alarm.permit_id in open_ones
        if is_on:
            yield _shouted(alarm, stands.get(alarm.kiln_id))
        elif not alarm.is_answered:
            yield _left_unanswered(alarm)


def _shouted(alarm: Any, stand: EntryNow | None) -> KilnWarning:
    inside = stand.names if stand else tuple(alarm.inside)
    outside = stand.outside.name if stand else alarm.outside
    facts = {
        "kiln": alarm.kiln.tag,
        "said": alarm.all_words,
        "names": ", ".join(inside) or _("nobody by name"),
        "outside": outside or _("nobody by name"),
        "at": _when(alarm.at),
    }
    said = _("ALARM %(at)s: %(kiln)s is reported running or hot while people may be in or at it: %(said)s.") % facts
    said += " " + _("Inside: %(names)s. Outside: %(outside)s.") % facts
    said += " " + _("Stop it at its emergency stop or main switch, get everybody out, count.")
    if alarm.is_answered:
        said += " " + _("Answered, and still reported.")
    elif alarm.is_over:
        said += " " + _("No longer reported; nobody has said what was done.")
    return KilnWarning(WarningKind.ALARM, alarm.kiln.tag, _("ALARM"), said, _page_of(alarm), _("Say what was done"))


def _left_unanswered(alarm: EntryAlarm) -> KilnWarning:
    facts = {"kiln": alarm.kiln.tag, "at": _when(alarm.at)}
    said = _("%(kiln)s was reported running or hot at %(at)s while people were in or at it: say what was done.") % facts
    return KilnWarning(WarningKind.OVERDUE, alarm.kiln.tag, _("alarm not answered"), said, _page_of(alarm))


def _page_of(alarm: EntryAlarm) -> str:
    return reverse("maintenance:alarm", args=[alarm.pk])


def bars_said() -> Iterable[KilnWarning]:
    """Name what keeps everybody out of each chamber, all causes of one in a sentence."""
    for bars in bars_to_entry(Kiln.objects.all()).values():
        facts = {"kiln": bars[0].kiln_tag, "why": "; ".join(bar.what for bar in bars)}
        said = _("Nobody may enter %(kiln)s: %(why)s.") % facts
        yield KilnWarning(WarningKind.BARRED, bars[0].kiln_tag, _("no entry"), said, bars[0].url)


def closings_said() -> Iterable[KilnWarning]:
    """Name chambers that were closed although their list was not complete."""
    for closing in EntryPermit.objects.forced_closings(clock.now() - SHOUTED):
        facts = {"kiln": closing.kiln.tag, "at": _when(closing.at), "who": closing.by or ""}
        said = _("%(kiln)s was closed for entry at %(at)s by %(who)s with an incomplete list: count everybody.") % facts
        address = reverse("maintenance:permit", args=[closing.opening_id])
        yield KilnWarning(WarningKind.OVERDUE, closing.kiln.tag, _("closed with an incomplete list"), said, address)


def _entry_said(stand: EntryNow) -> Iterable[KilnWarning]:
    """Say that a chamber is open, how many are inside, and for how long; and when they should be out."""
    kiln, address = stand.permit.kiln.tag, reverse("maintenance:permit", args=[stand.permit.pk])
    if stand.is_overdue and stand.until_at:
        facts = {"kiln": kiln, "at": _when(stand.until_at), "outside": stand.outside}
        said = _("Everybody should have been out of %(kiln)s by %(at)s; %(outside)s stays outside.") % facts
        yield KilnWarning(WarningKind.OVERDUE, kiln, _("should be out"), said, address)
    since = _when(stand.permit.at)
    if stand.count:
        facts = {"kiln": kiln, "names": ", ".join(stand.names), "outside": stand.outside, "since": since}
        said = _("%(kiln)s is open for entry since %(since)s; inside: %(names)s. %(outside)s stays outside.") % facts
    else:
        facts = {"kiln": kiln, "outside": stand.outside, "since": since}
        said = _("%(kiln)s is open for entry since %(since)s; nobody is inside by the list.") % facts
    yield KilnWarning(WarningKind.INSIDE, kiln, inside_words(stand), said, address)


def inside_words(stand: EntryNow) -> str:
    """Say how many are inside, and for how long the first of them is; or that nobody is by the list."""
    if stand.since_at is None:
        return _("open for entry, nobody inside by the list")
    facts = {"count": stand.count, "span": span(stand.now - stand.since_at)}
    return ngettext("%(count)d inside, %(span)s", "%(count)d inside, %(span)s", stand.count) % facts


def _when(at: datetime) -> str:
    local = timezone.localtime(at)
    is_today = local.date() == timezone.localtime(clock.now()).date()
    return date_format(local, "H:i" if is_today else "D j M H:i")
