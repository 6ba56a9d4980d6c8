"""Until when a stop may last, in words."""

from datetime import datetime

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.charges.calculations.lasting import Lasting
from plant.models import Downtime


def lasting_words(record: Downtime, until: Lasting) -> str:
    """Say until when a stop that goes on may last, and how that is known."""
    facts = {"until": _say(until.end_at), "count": until.count, "spread": round(until.sd_h)}
    if until.is_late and record.expected_end_at:
        words = _("It should have ended on %(at)s; nobody has told that it did. Plans take it to go on.")
        return words % {"at": _say(record.expected_end_at)}
    if until.is_told:
        return _("It may last until %(until)s, as was told.") % facts
    if until.count:
        return (
            ngettext(
                "Nobody knows until when. %(count)d such stop that lasted longer than this one by now tells: "
                "until %(until)s, give or take %(spread)d h.",
                "Nobody knows until when. %(count)d such stops that lasted longer than this one by now tell: "
                "until %(until)s, give or take %(spread)d h.",
                until.count,
            )
            % facts
        )
    return _("Nobody knows until when, and too few such stops are on record: plans count on %(until)s.") % facts


def _say(at: datetime) -> str:
    return date_format(timezone.localtime(at), "D j M H:i")
