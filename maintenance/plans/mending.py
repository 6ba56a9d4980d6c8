"""A plan that is wanted by itself where jobs lost their place: it is worked out meanwhile and waits for the planner."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.models import Plan
from maintenance.plans.accepting import DAILY_SECONDS, want_plan
from maintenance.plans.places_now import failing_places
from plant.models import Mill

# Several changes in a row become one plan; what was decided a day ago is asked again. Our own choices.
PAUSE = timedelta(minutes=10)
DECIDED_FOR = timedelta(days=1)
NAMED = 3


def want_plan_that_mends(now_at: datetime) -> Plan | None:
    """Want a plan where jobs lost their place since the last one was wanted; None where none is needed.

    A plan that waits, is under way, failed or was set aside within a day answers for the jobs that had lost their
    place when it was wanted (``Plan.mends``): nobody is asked twice.
    """
    # At each tick, mostly for nothing: the mill is locked only where there is something to want.
    failing = failing_places(now_at)
    if not failing.why or failing.as_of is not None:
        return None
    return _want(sorted(failing.why), now_at)


@transaction.atomic
def _want(lost: Sequence[str], now_at: datetime) -> Plan | None:
    Mill.objects.select_for_update().get()
    recent = Plan.objects.filter(suppositions=[], wanted_at__gt=now_at - DECIDED_FOR).exclude(state=Plan.State.ACCEPTED)
    for state, mends, wanted_at in recent.values_list("state", "mends", "wanted_at"):
        is_open = state in (Plan.State.WANTED, Plan.State.UNDER_WAY)
        if set(lost) <= set(mends) or is_open or wanted_at > now_at - PAUSE:
            return None
    return want_plan(name=_name(lost), seconds=DAILY_SECONDS, by=None)


def _name(lost: Sequence[str]) -> str:
    first, more = ", ".join(lost[:NAMED]), len(lost) - NAMED
    if more <= 0:
        return _("New places for %(jobs)s") % {"jobs": first}
    words = ngettext("New places for %(jobs)s and %(more)d more", "New places for %(jobs)s and %(more)d more", more)
    return words % {"jobs": first, "more": more}
