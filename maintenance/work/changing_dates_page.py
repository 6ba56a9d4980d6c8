"""One date of a recurring task on screen: skip it, move it, take that back."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from maintenance.frame.fields import VersionField
from maintenance.models import ChangedDate, StandingTask, WorkOrder
from maintenance.recurring.changed_dates import moved_on
from maintenance.recurring.rolling_on import counts_meters
from maintenance.work.changing_dates import is_safety, last_day, move_date, skip_date, take_change_back
from plant.access import needs
from plant.frame.days import Day
from plant.frame.requests import refusal_on, refusal_said, renew, user_of
from plant.frame.saying import say
from plant.warnings.consequences import NoLongerHolds, say_lost

MOVE, SKIP = "move", "skip"


class DateForm(forms.Form):
    """What becomes of one date."""

    what = forms.ChoiceField(
        label=gettext_lazy("This date"),
        choices=[(MOVE, gettext_lazy("is moved to another day")), (SKIP, gettext_lazy("is skipped"))],
        widget=forms.RadioSelect,
        initial=MOVE,
    )
    to_on = Day(label=gettext_lazy("Moved to"), required=False)
    why = forms.CharField(label=gettext_lazy("Why"), max_length=200)
    version = VersionField()

    def __init__(self, *args: Any, task: StandingTask, due_on: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["version"].initial = task.version
        what: Any = self.fields["what"]
        if is_safety(task) or counts_meters(task):
            # There is nothing to choose.
            what.widget = forms.HiddenInput()
        if is_safety(task):
            what.choices = what.choices[:1]
            words = _("It is safety work: never skipped, and moved to %(last)s at the latest.")
            self.fields["to_on"].help_text = words % {"last": date_format(last_day(task, due_on), "D j M Y")}
        elif counts_meters(task):
            what.choices, what.initial = what.choices[1:], SKIP
            del self.fields["to_on"]

    def clean(self) -> dict[str, Any]:
        """Ask for the day it is moved to."""
        said = super().clean() or self.cleaned_data
        if "what" in self.errors:
            # It may be hidden, and its error with it.
            self.add_error(None, _("Of this date nothing else can become: look at the form again."))
        if said.get("what") == MOVE and not said.get("to_on") and "to_on" not in self.errors:
            self.add_error("to_on", _("To which day?"))
        return said


@contextmanager
def _lost_place_said(request: HttpRequest, task: StandingTask, due_on: date) -> Iterator[None]:
    """Say which job of a date loses its place by what is done within, and why."""
    of_date = WorkOrder.objects.filter(standing_task=task, occurrence_on=due_on)
    placed = list(of_date.filter(placement__isnull=False).values_list("pk", flat=True))
    yield
    lost = WorkOrder.objects.filter(pk__in=placed, placement__isnull=True).select_related("kiln")
    say_lost(request, [NoLongerHolds(str(one), say(one.no_place_why), one.get_absolute_url()) for one in lost])


@needs("edit recurring tasks")
def change(request: HttpRequest, code: str, on: str) -> HttpResponse:
    """Show the form, and keep what it says."""
    task = get_object_or_404(StandingTask.objects.select_related("sheet", "kiln__mill", "component"), code=code)
    try:
        due_on = date.fromisoformat(on)
    except ValueError:
        raise Http404 from None
    form = DateForm(request.POST if request.method == "POST" else None, task=task, due_on=due_on)
    if form.is_valid():
        said, by = form.cleaned_data, user_of(request)
        with refusal_on(form):
            if said["what"] == SKIP:
                skip_date(task, due_on, said["why"], version=said["version"], by=by)
                messages.success(request, _("The date is skipped. Its page takes that back."))
            else:
                with _lost_place_said(request, task, due_on):
                    move_date(task, due_on, said["to_on"], said["why"], version=said["version"], by=by)
                    messages.success(request, _("The date is moved; what follows stays where it is."))
            return redirect(task)
        renew(form, version=StandingTask.objects.get(pk=task.pk).version)
    raised = task.work_orders.filter(occurrence_on=due_on).exclude(state=WorkOrder.State.WITHDRAWN)
    context = {
        "place": "rounds",
        "sub": "standing-tasks",
        "task": task,
        "on": moved_on(task, due_on),
        "due_on": due_on,
        "form": form,
        "order": raised.first(),
        "is_safety": is_safety(task),
    }
    return render(request, "work/changing_date.html", context)


@require_POST
@needs("edit recurring tasks")
def take_back(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Let a date stand as it was."""
    changed = get_object_or_404(ChangedDate.objects.select_related("standing_task"), standing_task__code=code, pk=pk)
    with refusal_said(request), _lost_place_said(request, changed.standing_task, changed.due_on):
        take_change_back(changed, by=user_of(request))
        messages.success(request, _("The date stands again as it was."))
    return redirect(changed.standing_task)
