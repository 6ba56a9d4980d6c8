"""An alarm of entry: what was reported, who was inside, and what people did."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from maintenance.door.alarms import answer_alarm
from maintenance.door.alarms_form import AnswerForm
from maintenance.models import EntryAlarm
from plant.access import needs, require
from plant.frame.requests import refusal_on, user_of


@needs("see home")
def alarm(request: HttpRequest, pk: int) -> HttpResponse:
    """Show an alarm, and take down by name what was done."""
    one = get_object_or_404(EntryAlarm.objects.raised().select_related("kiln__mill", "permit"), pk=pk)
    form = AnswerForm(request.POST or None)
    if request.method == "POST":
        user = user_of(request)
        require(user, "answer alarms")
        if form.is_valid():
            said = form.cleaned_data
            with refusal_on(form):
                answer_alarm(one, by=user, key=said["key"], what=said["what"])
                messages.success(
                    request, _("Put on record. The alarm stands as long as the kiln is reported running or hot.")
                )
                return redirect("maintenance:alarm", pk)
    followed = EntryAlarm.objects.filter(raising=one).select_related("by__person").order_by("at", "id")
    context = {"place": "kilns", "alarm": one, "followed": followed, "form": form}
    return render(request, "door/alarm.html", context)
