"""Task sheets and check points on screen: the list, one of them with its versions, and what is done with it.

Both are shown and kept alike; ``of`` in the address says which is meant.
"""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, F, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from maintenance.models import CheckPoint, TaskSheet, WorkOrder
from maintenance.models.versions import FIRST
from maintenance.sheets import keeping as act
from maintenance.sheets.calculations.differences import differences
from maintenance.sheets.catalogue_changes import CAME, CHANGED
from maintenance.sheets.content import content_of
from maintenance.sheets.forms import FilterForm, WithdrawForm
from maintenance.sheets.seen import Names, seen_differences, seen_point, seen_sheet
from plant.access import needs
from plant.frame.requests import query_without_page, refusal_on, refusal_said, user_of
from plant.models import Change

PER_PAGE = 25
MOST_SHOWN = 30
Row = TaskSheet | CheckPoint


@dataclass(frozen=True)
class Kind:
    """Task sheets or check points: what they are called, and where they are shown."""

    of: str
    model: type[TaskSheet] | type[CheckPoint]
    heading: Any
    one: Any
    new: Any
    searched: tuple[str, ...]

    @property
    def is_sheet(self) -> bool:
        """Say whether it is about task sheets."""
        return self.model is TaskSheet

    @property
    def list_url(self) -> str:
        """Name the list's address."""
        return f"maintenance:{self.of}s"

    def url(self, act: str = "") -> str:
        """Name an address."""
        return f"maintenance:{self.of}{f'-{act}' if act else ''}"


KINDS = {
    "task-sheet": Kind(
        "task-sheet",
        TaskSheet,
        gettext_lazy("Task sheets"),
        gettext_lazy("Task sheet"),
        gettext_lazy("Write a task sheet"),
        ("title", "purpose", "kind__name", "code", "steps__text"),
    ),
    "check-point": Kind(
        "check-point",
        CheckPoint,
        gettext_lazy("Check points"),
        gettext_lazy("Check point"),
        gettext_lazy("Write a check point"),
        ("what", "method", "criterion", "kind__name", "code"),
    ),
}


def row_of(of: str, code: str) -> Row:
    """Return a task sheet or a check point."""
    found: Row = get_object_or_404(KINDS[of].model.objects.select_related("kind", "copied_from"), code=code)
    return found


def about(of: str, **more: Any) -> dict[str, Any]:
    """Return what every page has."""
    kind = KINDS[of]
    names = ("new", "edit", "copy", "withdraw", "back", "noted", "version")
    return {
        "place": "rounds",
        "sub": "task-sheets",
        "of": kind,
        "urls": {"list": kind.list_url, "one": kind.url()} | {name: kind.url(name) for name in names},
        **more,
    }


@needs("see task sheets")
def rows(request: HttpRequest, of: str) -> HttpResponse:
    """List task sheets or check points, the mill's own first."""
    kind, asked = KINDS[of], FilterForm(request.GET)
    asked.is_valid()
    page = Paginator(_chosen(kind, asked.cleaned_data), PER_PAGE).get_page(request.GET.get("page"))
    label = kind.model._meta.label_lower
    told = Change.objects.filter(subject_kind=label, act__in=(CAME, CHANGED), by__isnull=True).order_by("-at", "-id")
    last = told.first()
    changed = [change for change in told[:MOST_SHOWN] if last and change.at == last.at]
    keys = kind.model.objects.in_bulk([int(change.subject_key) for change in changed])
    context = about(
        of,
        filter=asked,
        page=page,
        query=query_without_page(request),
        lead=_lead(kind),
        last=last,
        changed=[{"row": keys[int(one.subject_key)], "is_new": one.act == CAME} for one in changed],
    )
    return render(request, "sheets/rows.html", context)


def _chosen(kind: Kind, asked: dict[str, Any]) -> QuerySet[Any]:
    found: QuerySet[Any] = kind.model.objects.filter(withdrawn_at__isnull=not asked.get("withdrawn"))
    if asked.get("whose"):
        found = found.filter(is_own=asked["whose"] == "own")
    for word in (asked.get("q") or "").split():
        wanted = Q()
        for name in kind.searched:
            wanted |= Q(**{f"{name}__icontains": word})
        found = found.filter(wanted)
    title = "title" if kind.is_sheet else "what"
    found = found.distinct().select_related("kind", "copied_from")
    if kind.is_sheet:
        found = found.annotate(
            task_count=Count("standing_tasks", filter=Q(standing_tasks__is_active=True), distinct=True)
        )
    return found.order_by("-is_own", "kind__end_view_no", "kind__name", title, "pk")


def _lead(kind: Kind) -> str:
    total = kind.model.objects.in_use().count()
    own = kind.model.objects.in_use().filter(is_own=True).count()
    news = kind.model.objects.in_use().filter(copied_version__lt=F("copied_from__version")).count()
    if kind.is_sheet:
        words = ngettext("%(count)d task sheet in use", "%(count)d task sheets in use", total)
    else:
        words = ngettext("%(count)d check point in use", "%(count)d check points in use", total)
    said = words % {"count": total} + ", " + _("%(own)d of them the mill's own.") % {"own": own}
    if news:
        told = ngettext(
            "What %(count)d of these was copied from has changed since.",
            "What %(count)d of these were copied from has changed since.",
            news,
        )
        said += " " + told % {"count": news}
    return said


@needs("see task sheets")
def row(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Show one: all it says, what uses it, its versions."""
    found, names = row_of(of, code), Names()
    content = content_of(found)
    context = about(
        of,
        row=found,
        title=_title(found),
        seen=_seen(found, content, names),
        versions=_versions(found),
        copies=found.copies.in_use(),
        news=_news(found, names),
        history=Change.objects.about(found),
        # A state in which a job is still to be done.
        jobs=WorkOrder.objects.unfinished().filter(sheet=found).count() if isinstance(found, TaskSheet) else 0,
        tasks=act.tasks_of(found) if isinstance(found, TaskSheet) else [],
        watches=found.watches.select_related("kiln") if isinstance(found, TaskSheet) else [],
    )
    return render(request, "sheets/row.html", context)


def _title(found: Row) -> str:
    return found.title if isinstance(found, TaskSheet) else found.what


def _seen(found: Row, content: dict[str, Any], names: Names) -> dict[str, Any]:
    return seen_sheet(content, names) if isinstance(found, TaskSheet) else seen_point(content, names)


def _versions(found: Row) -> list[Any]:
    """Return the earlier versions, the last first, each with what came in its place."""
    earlier = act.versions_of(found).objects.filter(of=found).select_related("superseded_by__person")
    return list(earlier.order_by("-no"))


def _content_at(found: Row, no: int) -> dict[str, Any] | None:
    if no == found.version:
        return content_of(found)
    content: dict[str, Any] | None = (
        act.versions_of(found).objects.filter(of=found, no=no).values_list("content", flat=True).first()
    )
    return content


def _news(found: Row, names: Names) -> list[Any]:
    """Say what the shipped one has changed since it was copied or looked at."""
    if not found.has_news or found.copied_from is None:
        return []
    original: Any = found.copied_from
    before = _content_at(original, found.copied_version or FIRST)
    return seen_differences(differences(before, content_of(original)), names) if before else []


@needs("see task sheets")
def version(request: HttpRequest, of: str, code: str, no: int) -> HttpResponse:
    """Show an earlier version, and what the next one changed."""
    found, names = row_of(of, code), Names()
    content, following = _content_at(found, no), _content_at(found, no + 1)
    if content is None:
        raise Http404
    context = about(
        of,
        row=found,
        title=content.get("title") or content.get("what"),
        no=no,
        seen=_seen(found, content, names),
        changes=seen_differences(differences(content, following), names) if following else [],
        earlier=act.versions_of(found).objects.filter(of=found, no=no).select_related("superseded_by__person").first(),
    )
    return render(request, "sheets/version.html", context)


@needs("edit task sheets")
def withdraw(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Let no new work come from it; what recurs by it is named first."""
    found = row_of(of, code)
    form = WithdrawForm(
        request.POST if request.method == "POST" else None,
        row=found,
        initial={"instead": request.GET.get("instead", "")},
    )
    if form.is_valid():
        with refusal_on(form):
            said = form.cleaned_data
            act.withdraw(found, said["why"], instead=said.get("instead"), by=user_of(request))
            messages.success(request, _("It is withdrawn: no new work comes from it. What is on record stays."))
            return redirect(found)
    with refusal_said(request):
        if not form.is_bound:
            act.refuse_withdrawal(found)
    context = about(
        of,
        row=found,
        title=_title(found),
        form=form,
        tasks=act.tasks_of(found) if isinstance(found, TaskSheet) else [],
        watches=found.watches.select_related("kiln") if isinstance(found, TaskSheet) else [],
    )
    return render(request, "sheets/withdraw.html", context)


@require_POST
@needs("edit task sheets")
def bring_back(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Let new work come from it again."""
    found = row_of(of, code)
    with refusal_said(request):
        act.bring_back(found, by=user_of(request))
        messages.success(request, _("It is in use again. What recurred by it comes back only by hand."))
    return redirect(found)


@require_POST
@needs("edit task sheets")
def take_note(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Say that the changes of the shipped one were looked at."""
    found = row_of(of, code)
    with refusal_said(request):
        act.take_note(found, by=user_of(request))
        messages.success(request, _("Noted. The copy stays as it is."))
    return redirect(found)
