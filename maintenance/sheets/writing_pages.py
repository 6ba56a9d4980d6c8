"""Write, copy and change task sheets and check points on screen."""

from typing import Any, Final

from django.contrib import messages
from django.forms import BaseFormSet, formset_factory
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from maintenance.models import Caution, CheckPoint, TaskSheet
from maintenance.sheets import keeping as act
from maintenance.sheets.content import Content, content_of
from maintenance.sheets.forms import (
    ContentForm,
    KindForm,
    PointForm,
    SheetForm,
    SheetPartForm,
    SheetPartForms,
    StepForm,
    StepForms,
)
from maintenance.sheets.pages import KINDS, Row, about, row_of
from maintenance.sheets.seen import door_warning
from plant.access import needs
from plant.frame.requests import refusal_on, renew, user_of
from plant.models import ComponentKind

# The caution that says what must be so at a door beside the running kiln.
DOORS: Final = "doors"
# So many empty rows wait below those that are filled.
SPARE_STEPS: Final = 3
MOST_STEPS: Final = 80
MOST_PARTS: Final = 40


@needs("edit task sheets")
def new(request: HttpRequest, of: str) -> HttpResponse:
    """Write a new one: first what it is for, then the rest with what is usual there."""
    chosen = KindForm(request.GET or None)
    if not chosen.is_valid():
        return render(request, "sheets/new.html", about(of, form=chosen))
    kind = chosen.cleaned_data["kind"]
    return _write(request, of, KINDS[of].model(), _usual(of, kind))


@needs("edit task sheets")
def copy(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Make the mill's own from one that is there."""
    source = row_of(of, code)
    return _write(request, of, KINDS[of].model(), content_of(source), copied=source)


@needs("edit task sheets")
def edit(request: HttpRequest, of: str, code: str) -> HttpResponse:
    """Give one of the mill's own a new version."""
    found = row_of(of, code)
    if not found.is_own:
        messages.info(request, _("It comes with the program and stays as it is. Here is a copy of it: change that."))
        return redirect(KINDS[of].url("copy"), code)
    return _write(request, of, found, content_of(found))


def _usual(of: str, kind: ComponentKind) -> Content:
    """Return what is usual with a kind of component: the cautions, skills and state that its others have in common."""
    others = KINDS[of].model.objects.in_use().filter(kind=kind)
    cautions = sorted(set(Caution.objects.filter(**{f"{_related(of)}__in": others}).values_list("code", flat=True)))
    usual: Content = {"kind": kind.code, "cautions": cautions}
    name = "needs_state" if of == "task-sheet" else "seen_in"
    states = set(others.values_list(name, flat=True))
    if len(states) == 1:
        usual[name] = states.pop()
    if of == "task-sheet":
        skills = set(others.values_list("skills__skill__code", flat=True)) - {None}
        usual["skills"] = dict.fromkeys(skills, 1) if len(skills) == 1 else {}
    return usual


def _related(of: str) -> str:
    return "task_sheets" if of == "task-sheet" else "check_points"


def _write(
    request: HttpRequest, of: str, row: Row, content: Content, copied: TaskSheet | CheckPoint | None = None
) -> HttpResponse:
    """Show the form, and keep what it says: a new row, or a new version of one that is there."""
    data = request.POST if request.method == "POST" else None
    is_sheet = of == "task-sheet"
    form: ContentForm = (SheetForm if is_sheet else PointForm)(data, initial=content, row=row)
    steps = _steps(data, content) if is_sheet else None
    parts = _parts(data, content) if is_sheet else None
    if data is not None and "more" not in data:
        sets = [one for one in (steps, parts) if one is not None]
        if all([form.is_valid(), *(one.is_valid() for one in sets)]):
            with refusal_on(form):
                return _keep(request, of, form, row, copied, steps, parts)
            if row.pk:
                # Who was told that somebody else changed it may write over that.
                renew(form, version=type(row).objects.get(pk=row.pk).version)
    begun_at = row if row.pk else copied
    context = about(
        of,
        row=row,
        copied=copied,
        form=form,
        steps=steps,
        parts=parts,
        is_used=bool(row.pk) and act.is_used(row),
        opened=_groups_at_fault(form, parts),
        door_warning=door_warning(str(form["kind"].value() or ""), str(form["needs_state"].value() or ""))
        if is_sheet
        else "",
        back=begun_at.get_absolute_url() if begun_at else reverse(KINDS[of].list_url),
    )
    return render(request, "sheets/form.html", context)


def _keep(
    request: HttpRequest,
    of: str,
    form: ContentForm,
    row: Row,
    copied: Row | None,
    steps: "BaseFormSet[Any] | None",
    parts: "BaseFormSet[Any] | None",
) -> HttpResponse:
    said, by = form.cleaned_data, user_of(request)
    if isinstance(form, SheetForm) and isinstance(steps, StepForms) and isinstance(parts, SheetPartForms):
        content = form.content(steps.steps(), parts.parts())
        if door_warning(content["kind"], content["needs_state"]):
            # Whoever does the work reads it, too; it cannot be unticked.
            doors = Caution.objects.filter(code=DOORS).values_list("code", flat=True)
            content["cautions"] = sorted({*content["cautions"], *doors})
    else:
        assert isinstance(form, PointForm)  # noqa: S101  narrows the type
        content = form.content()
    if not row.pk:
        made = act.make(row, content, key=said["key"], by=by, copied=copied)
        messages.success(request, _("It is on record as the mill's own."))
        return redirect(made)
    if act.change(row, content, version=said["version"], why=said["why"], by=by):
        messages.success(request, _("It has a new version. Work that was raised before keeps the one it has."))
    else:
        messages.info(request, _("Nothing was different: it stays as it was."))
    return redirect(KINDS[of].url(), row.code)


def _steps(data: Any, content: Content) -> "BaseFormSet[Any]":
    initial = [
        {**step, "is_optional": not step["is_required"], "low": step["low"], "high": step["high"]}
        for step in content.get("steps", [])
    ]
    made = formset_factory(StepForm, formset=StepForms, extra=SPARE_STEPS, max_num=MOST_STEPS, absolute_max=MOST_STEPS)
    return made(_with_more(data, "step", MOST_STEPS), initial=initial, prefix="step")


def _parts(data: Any, content: Content) -> "BaseFormSet[Any]":
    initial = [{"part_kind": code, "quantity": amount} for code, amount in content.get("parts", {}).items()]
    made = formset_factory(SheetPartForm, formset=SheetPartForms, extra=2, max_num=MOST_PARTS, absolute_max=MOST_PARTS)
    return made(_with_more(data, "part", MOST_PARTS), initial=initial, prefix="part")


def _with_more(data: Any, prefix: str, most: int) -> Any:
    """Add empty rows where more were asked for."""
    if data is None or data.get("more") != prefix:
        return data
    total = data.get(f"{prefix}-TOTAL_FORMS", "")
    more = data.copy()
    more[f"{prefix}-TOTAL_FORMS"] = str(min(int(total) + SPARE_STEPS, most) if total.isdigit() else SPARE_STEPS)
    return more


def _groups_at_fault(form: ContentForm, parts: "BaseFormSet[Any] | None") -> set[str]:
    """Name the folded groups that must be open: something in them is at fault."""
    if not form.is_bound:
        return set()
    groups = set()
    if any(one.errors for one in form.folded):
        groups.add("more")
    if form["cautions"].errors:
        groups.add("cautions")
    if isinstance(form, SheetForm) and (any(one.errors for one in form.skill_fields) or form["crew"].errors):
        groups.add("crew")
    if parts is not None and parts.is_bound and (parts.non_form_errors() or any(parts.errors)):
        groups.add("parts")
    return groups
