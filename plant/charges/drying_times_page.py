"""How long a kiln's charges take."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant import clock
from plant.access import needs
from plant.charges.drying_times import AHEAD, ASSUMED_TEMP_C, AT_MOST, EMC_SHARE, DryingTimes, drying_times
from plant.models import Kiln


@needs("see kilns")
def of_kiln(request: HttpRequest, tag: str) -> HttpResponse:
    """Show what drying takes in a kiln, by timber, and what that says of the charges ahead."""
    kiln = get_object_or_404(Kiln, tag=tag)
    times = drying_times(kiln, clock.now())
    context = {
        "place": "kilns",
        "kiln": kiln,
        "times": times,
        "sentence": _sentence(times),
        "assumed_c": ASSUMED_TEMP_C,
        "emc_share_pct": 100 * EMC_SHARE,
        "at_most": AT_MOST,
        "ahead": AHEAD,
    }
    return render(request, "charges/drying_times.html", context)


def _sentence(times: DryingTimes) -> str:
    short = [one.charge.number for one in times.coming if one.verdict == "short"]
    if short:
        count = len(short)
        return ngettext(
            "The programme allows charge %(numbers)s less time than such timber took before.",
            "The programme allows charges %(numbers)s less time than such timber took before.",
            count,
        ) % {"numbers": ", ".join(short)}
    if not times.past:
        return _("No dried charge tells yet how long this kiln takes.")
    return _("The programme's drying times agree with what this kiln's charges took.")
