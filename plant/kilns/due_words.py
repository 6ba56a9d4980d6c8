"""What should have been told of the charge in a kiln by now, in words."""

from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.charges.calculations.known import Told
from plant.charges.door_seen import open_since
from plant.kilns.kilns_now import KilnNow


def due_words(stand: KilnNow) -> str:
    """Say which charge should have been opened, or out, since when; empty where nothing is due."""
    if stand.due is None or stand.due_charge is None:
        return ""
    facts = {"number": stand.due_charge.number, "since": _say(stand.due.since_at)}
    if stand.due.what is Told.OPENED:
        return _("Charge %(number)s should have been opened on %(since)s; nobody has told that it was.") % facts
    return _("Charge %(number)s should have been out on %(since)s; nobody has told that it is.") % facts


def door_words(stand: KilnNow, now: datetime) -> str:
    """Say since when a main door of the kiln reads open though nobody told it; two queries for each such sensor."""
    if stand.due is None or stand.due_charge is None:
        return ""
    since_at = open_since(stand.kiln, stand.due_charge.begin_at, now)
    return _("A main door reads open since %(since)s.") % {"since": _say(since_at)} if since_at else ""


def _say(at: datetime) -> str:
    return date_format(timezone.localtime(at), "D j M H:i")
