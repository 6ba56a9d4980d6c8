"""What a kiln's readings propose to tell of its charge: one button says yes, one says no."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from plant.access import needs
from plant.charges import proposals
from plant.charges.telling import ACT
from plant.charges.telling_page import back_to, kept, tell_at
from plant.frame.requests import user_of
from plant.frame.typed_numbers import row_number
from plant.models import Charge, ClimateSign


@needs(ACT)
@require_POST
def answer(request: HttpRequest, tag: str, pk: int) -> HttpResponse:
    """Tell what the readings propose, as it was shown, or say that they say nothing."""
    sign = get_object_or_404(ClimateSign.objects.select_related("kiln"), kiln__tag=tag, pk=pk)
    if request.POST.get("answer") == "no":
        proposals.refuse(sign, by=user_of(request))
        messages.success(request, _("%(kiln)s: that is not proposed any more.") % {"kiln": tag})
        return back_to(sign.kiln)
    what = request.POST.get("what", "")
    charge = Charge.objects.filter(kiln=sign.kiln, pk=row_number(request.POST.get("charge", ""))).first()
    try:
        word = proposals.confirm(sign, what, charge.pk if charge else 0, by=user_of(request))
    except ValidationError as refusal:
        for said in refusal.messages:
            messages.error(request, said)
        if charge is not None and "why" in getattr(refusal, "error_dict", {}):
            # It asks for a reason: the form of the telling takes it.
            return tell_at(charge, what, sign.at)
        return back_to(sign.kiln)
    return kept(request, word)
