"""The mill's settings."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from plant.access import needs
from plant.frame.particulars import renew_seen
from plant.frame.requests import refusal_on, user_of
from plant.mill.forms import MillForm
from plant.mill.keeping import edit_mill
from plant.models import Change, Mill


@needs("edit mill")
def mill(request: HttpRequest) -> HttpResponse:
    """Show and change what the mill has set for itself."""
    current = get_object_or_404(Mill)
    form = MillForm(request.POST if request.method == "POST" else None, instance=current)
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in form.Meta.fields}
        with refusal_on(form):
            edit_mill(values, seen=form.cleaned_data["seen"], by=user_of(request))
            messages.success(request, _("The mill's settings are changed."))
            return redirect("plant:mill")
        renew_seen(form, Mill.objects.current(), values)
    changes = Change.objects.about(current).order_by("-at", "-id")[:30]
    return render(request, "mill/mill.html", {"form": form, "changes": changes})
