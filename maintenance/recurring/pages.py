"""What recurs: the list, one recurring task with its next dates, and the form with the dates before they are saved."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from maintenance.models import StandingTask
from maintenance.models.querysets import StandingTaskQuerySet
from maintenance.recurring.calculations.resets import PRACTICES
from maintenance.recurring.changed_dates import moved_on
from maintenance.recurring.coming import Coming, coming_dates
from maintenance.recurring.editing import (
    default_interval,
    edit_standing_task,
    fresh_code,
    make_standing_task,
    resume_standing_task,
    withdraw_standing_task,
)
from maintenance.recurring.forms import (
    SheetAndKilnForm,
    StandingTaskFilter,
    StandingTaskForm,
    WithdrawForm,
    practice_of,
    proposed,
)
from maintenance.recurring.rolling_on import schedule_of
from plant import clock
from plant.access import needs
from plant.basics.sentences import Sentences
from plant.frame.requests import mill_of, query_without_page, refusal_on, refusal_said, renew, user_of, version_of
from plant.frame.saying import say
from plant.models import Change, Component, Mill

# What a phone shows in a few screens.
PER_PAGE = 25
SHOWN_ROWS = 20


def rule_words(task: StandingTask) -> str:
    """Say how a task recurs, or what is wrong with its rule."""
    try:
        words = say(schedule_of(task).describe())
    except ValueError as fault:
        return _("Cannot be followed: %(why)s") % {"why": fault}
    return words[:1].upper() + words[1:]


def says_how_often(task: StandingTask) -> bool:
    """Say whether a task has any rule by which it recurs."""
    return any((task.every, task.rrule, task.every_running_h, task.every_charges))


def window_words(task: StandingTask) -> list[str]:
    """Say how far from when it is due the work may be done, in the measures in which there is a window."""
    measures = (
        ("days", _("%(before)d days before to %(after)d days after its date")),
        ("running_h", _("%(before)d running hours before to %(after)d after those it is due at")),
        ("charges", _("%(before)d charges before to %(after)d after those it is due at")),
    )
    said = []
    for measure, words in measures:
        before, after = (getattr(task, f"window_{side}_{measure}") for side in ("before", "after"))
        if before or after:
            said.append(words % {"before": before, "after": after})
    return said


@needs("see recurring tasks")
def standing_tasks(request: HttpRequest) -> HttpResponse:
    """List what recurs, the next due first."""
    asked = StandingTaskFilter(request.GET)
    asked.is_valid()
    page = Paginator(_chosen(asked.cleaned_data), PER_PAGE).get_page(request.GET.get("page"))
    rows = [{"task": task, "rule": rule_words(task)} for task in page]
    mill = Mill.objects.first()
    today = clock.today(mill.zone) if mill else clock.now().date()
    context = {
        "place": "rounds",
        "sub": "standing-tasks",
        "filter": asked,
        "page": page,
        "rows": rows,
        "query": query_without_page(request),
        "today": today,
        "lead": _lead(today),
    }
    return render(request, "recurring/standing_tasks.html", context)


def _chosen(asked: dict[str, Any]) -> StandingTaskQuerySet:
    tasks = StandingTask.objects.filter(is_active=not asked.get("withdrawn"))
    if asked.get("kiln"):
        tasks = tasks.filter(kiln=asked["kiln"])
    for word in (asked.get("q") or "").split():
        tasks = tasks.filter(
            Q(sheet__title__icontains=word)
            | Q(component__name__icontains=word)
            | Q(kiln__tag__iexact=word)
            | Q(code__icontains=word)
        )
    return (
        tasks.select_related("kiln", "component", "sheet")
        .annotate(missed_count=Count("missed"))
        .order_by("next_due_on", "kiln__tag", "pk")
    )


def _lead(today: date) -> str:
    active = StandingTask.objects.in_use()
    total, late = active.count(), active.filter(next_due_on__lt=today).count()
    said = ngettext("%d task recurs", "%d tasks recur", total) % total
    return _("%(total)s; %(late)d of them overdue.") % {"total": said, "late": late}


@needs("see recurring tasks")
def standing_task(request: HttpRequest, code: str) -> HttpResponse:
    """Show one recurring task: its rule in words, its next dates, what was missed, and its work."""
    task = get_object_or_404(
        StandingTask.objects.select_related("kiln", "component", "sheet__standing_default").prefetch_related(
            "changed_dates"
        ),
        code=code,
    )
    today = clock.today(task.kiln.mill.zone)
    trouble = ""
    dates: Sequence[Coming] = ()
    reason = task.next_due_why
    try:
        dates, reason = coming_dates(task, today)
    except ValueError as fault:
        trouble = str(fault)
    orders = task.work_orders.select_related("kiln").order_by("-occurrence_on", "-pk")[:SHOWN_ROWS]
    context = {
        "place": "rounds",
        "sub": "standing-tasks",
        "task": task,
        "rule": rule_words(task),
        "windows": window_words(task),
        "practice": next((one for one in PRACTICES if one.key == practice_of(task)), None),
        "source": default_interval(task),
        "dates": dates if task.is_active else [],
        "changes_dates": task.is_active and user_of(request).may("edit recurring tasks"),
        "reason": reason,
        "trouble": trouble,
        "today": today,
        "missed": task.missed.order_by("-due_on")[:SHOWN_ROWS],
        "orders": [(one, moved_on(task, one.occurrence_on)) for one in orders if one.occurrence_on],
        "history": Change.objects.about(task),
    }
    return render(request, "recurring/standing_task.html", context)


@needs("edit recurring tasks")
def new(request: HttpRequest) -> HttpResponse:
    """Make a recurring task: first which sheet on which kiln, then the rest, as the catalogue proposes it."""
    is_chosen = "sheet" in request.GET and "kiln" in request.GET
    chosen = SheetAndKilnForm(request.GET if is_chosen else None, initial=request.GET.dict())
    if not chosen.is_valid():
        context = {"place": "rounds", "sub": "standing-tasks", "form": chosen}
        return render(request, "recurring/standing_task_new.html", context)
    sheet, kiln = chosen.cleaned_data["sheet"], chosen.cleaned_data["kiln"]
    fitting = Component.objects.in_use().filter(kiln=kiln, kind=sheet.kind_id)
    task = proposed(sheet, kiln, fitting.filter(tag=request.GET.get("component", "")).first() or fitting.first())
    code = request.POST.get("code", "")
    known = StandingTask.objects.filter(code=code, sheet=sheet, kiln=kiln).first() if code else None
    if known:
        # The form was sent twice.
        return redirect(known)
    form = StandingTaskForm(
        request.POST if request.method == "POST" else None,
        instance=task,
        initial={"anchor_on": clock.today(kiln.mill.zone)},
    )
    if form.is_valid() and not _is_preview(request):
        fresh = form.as_task(form.cleaned_data)
        fresh.code = code or fresh_code(fresh)
        with refusal_on(form):
            made = make_standing_task(fresh, by=user_of(request))
            messages.success(request, _("It recurs from now on; the first work order comes with the day's work."))
            return redirect(made)
    return _form_page(request, form, task, code or fresh_code(task))


@needs("edit recurring tasks")
def edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change how a task recurs; the dates show before they are saved."""
    task = get_object_or_404(StandingTask.objects.select_related("sheet", "kiln__mill", "component"), code=code)
    form = StandingTaskForm(request.POST if request.method == "POST" else None, instance=task)
    if form.is_valid() and not _is_preview(request):
        with refusal_on(form):
            edit_standing_task(task, form.cleaned_data, version=form.cleaned_data["version"], by=user_of(request))
            messages.success(request, _("Its dates are worked out anew."))
            return redirect(task)
        renew(form, version=StandingTask.objects.get(pk=task.pk).version)
    return _form_page(request, form, task, task.code)


def _is_preview(request: HttpRequest) -> bool:
    """Say whether only the dates are asked for; what htmx asks for is never stored."""
    return "preview" in request.POST or bool(getattr(request, "htmx", False))


def _form_page(request: HttpRequest, form: StandingTaskForm, task: StandingTask, code: str) -> HttpResponse:
    """Show the form with the next six dates of what is typed; for htmx the dates alone."""
    today = clock.today(mill_of(request).zone)
    dates: Sequence[Coming] = ()
    reason: Sentences = ()
    trouble = ""
    is_typed = form.is_bound and form.is_valid()
    shown = form.as_task(form.cleaned_data) if is_typed else task
    if not form.is_bound and task.pk is None:
        shown.anchor_on = today
    try:
        # A sheet without a usual interval proposes none: nothing is wrong yet.
        if is_typed or (not form.is_bound and says_how_often(shown)):
            dates, reason = coming_dates(shown, today)
    except ValueError as fault:
        trouble = str(fault)
    context = {
        "place": "rounds",
        "sub": "standing-tasks",
        "form": form,
        "task": task,
        "code": code,
        "rule": rule_words(shown) if is_typed or (not form.is_bound and says_how_often(shown)) else "",
        "asks_how_often": not form.is_bound and not says_how_often(shown),
        "dates": dates,
        "reason": reason,
        "trouble": trouble,
        "source": default_interval(shown),
        "today": today,
    }
    is_partial = getattr(request, "htmx", False)
    return render(request, f"recurring/standing_task_{'dates' if is_partial else 'form'}.html", context)


@needs("edit recurring tasks")
def withdraw(request: HttpRequest, code: str) -> HttpResponse:
    """Let a task recur no longer, with the reason."""
    task = get_object_or_404(StandingTask.objects.select_related("kiln", "component", "sheet"), code=code)
    form = WithdrawForm(request.POST if request.method == "POST" else None, initial={"version": task.version})
    if form.is_valid():
        with refusal_on(form):
            withdraw_standing_task(
                task, form.cleaned_data["why"], version=form.cleaned_data["version"], by=user_of(request)
            )
            messages.success(request, _("It recurs no longer. A work order that is open stays open."))
            return redirect(task)
    context = {"place": "rounds", "sub": "standing-tasks", "task": task, "form": form}
    return render(request, "recurring/standing_task_withdraw.html", context)


@require_POST
@needs("edit recurring tasks")
def resume(request: HttpRequest, code: str) -> HttpResponse:
    """Let a withdrawn task recur again."""
    task = get_object_or_404(StandingTask, code=code)
    with refusal_said(request):
        resume_standing_task(task, version=version_of(request), by=user_of(request))
        messages.success(request, _("It recurs again."))
    return redirect(task)
