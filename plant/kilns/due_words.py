"""What should have been told of the charge in a kiln by now, in words."""

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from plant.charges.calculations.known import Told
from plant.kilns.kilns_now import KilnNow


def due_words(stand: KilnNow) -> str:
    """Say which charge should have been opened, or out, since when; empty where nothing is due."""
    if stand.due is None or stand.due_charge is None:
        return ""
    since = date_format(timezone.localtime(stand.due.since_at), "D j M H:i")
    facts = {"number": stand.due_charge.number, "since": since}
    if stand.due.what is Told.OPENED:
        return _("Charge %(number)s should have been opened on %(since)s; nobody has told that it was.") % facts
    return _("Charge %(number)s should have been out on %(since)s; nobody has told that it is.") % facts
