"""The mill's settings."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from plant.access import needs
from plant.mill.forms import MillForm
from plant.mill.keeping import edit_mill
from plant.models import Change, Mill


@needs("edit mill")
def mill(request: HttpRequest) -> HttpResponse:
    """Show and change what the mill has set for itself."""
    current = get_object_or_404(Mill)
    form = MillForm(request.POST if request.method == "POST" else None, instance=current)
    if form.keep(request, edit_mill, _("The mill's settings are changed.")):
        return redirect("plant:mill")
    changes = Change.objects.about(current).order_by("-at", "-id")[:30]
    return render(request, "mill/mill.html", {"form": form, "changes": changes})
