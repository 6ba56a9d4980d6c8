"""At the door of a chamber: who is inside, who goes in and comes out, who stays outside, and closing it."""

from collections.abc import Callable
from functools import partial
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from maintenance.door import closing as closing_entry
from maintenance.entry import door
from maintenance.entry.bars import bars_of
from maintenance.entry.forms import (
    ClosePermitForm,
    ForceForm,
    InForm,
    MeasureForm,
    OutForm,
    RelieveForm,
    TakeBackForm,
)
from maintenance.entry.now import EntryNow, entry_of
from maintenance.entry.permits import needs_air_check
from maintenance.models import EntryMove, EntryPermit, FunctionCheck, WorkOrder
from maintenance.work import course as work_orders
from maintenance.work.forms import WhyForm
from plant.access import needs
from plant.frame.requests import mill_of, person_of, refusal_on, refusal_said, user_of
from plant.models import Person, User

SUGGESTED = 6
Act = EntryMove.Act


@needs("see kilns")
def permit(request: HttpRequest, pk: int) -> HttpResponse:
    """Show who is inside, since when, under which locks, and who stays outside."""
    return _page(request, _permit(pk))


@require_POST
@needs("permit entry")
def go_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter that somebody goes in with a lock of their own."""
    one = _permit(pk)
    return _run(request, one, "form_in", InForm(request.POST), partial(door.go_in, one))


@require_POST
@needs("permit entry")
def come_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter that somebody comes out."""
    one = _permit(pk)

    def change(is_lock_kept: bool, **said: Any) -> None:
        door.come_out(one, is_lock_off=not is_lock_kept, **said)

    return _run(request, one, "form_out", OutForm(request.POST), change)


@require_POST
@needs("permit entry")
def take_lock_off(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter that somebody outside took their lock off."""
    one, form = _permit(pk), OutForm(request.POST)
    del form.fields["is_lock_kept"]
    return _run(request, one, "form_out", form, partial(door.take_lock_off, one))


@require_POST
@needs("permit entry")
def relieve(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter that somebody else stays outside from now on."""
    one = _permit(pk)
    form = RelieveForm(request.POST, mill=mill_of(request))
    return _run(request, one, "form_outside", form, partial(door.relieve, one))


@require_POST
@needs("permit entry")
def measure(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter what was measured again."""
    one = _permit(pk)
    form = MeasureForm(request.POST, mill=mill_of(request), asks_air=needs_air_check(one.kiln))

    def change(key: UUID, by: User, **_said: Any) -> None:
        faults = door.measure(one, form.measured(), by=by, key=key)
        if faults:
            facts = {"kiln": one.kiln.tag, "why": " ".join(faults)}
            messages.error(request, _("Bring everybody out of %(kiln)s now. %(why)s") % facts)

    return _run(request, one, "form_measured", form, change)


@require_POST
@needs("permit entry")
def take_back(request: HttpRequest, pk: int, move: int) -> HttpResponse:
    """Take back a way in or out that was entered by mistake."""
    one = _permit(pk)
    this = get_object_or_404(EntryMove.objects.select_related("person", "permit__kiln"), pk=move, permit=one)
    form = TakeBackForm(request.POST, auto_id=f"back-{move}-%s")
    return _run(request, one, "form_back", form, partial(door.take_back, this))


@needs("permit entry")
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close the chamber when its list is empty."""
    one = _permit(pk)
    if request.method != "POST":
        return redirect(_url(one))
    form = ClosePermitForm(request.POST, stand=entry_of(one.kiln))
    if form.is_valid():
        said = form.cleaned_data
        with refusal_on(form):
            closing_entry.close_permit(
                one,
                by=user_of(request),
                key=said["key"],
                is_everybody_out=said["is_everybody_out"],
                sittings=form.named("sitting"),
                jobs=form.named("job"),
            )
            messages.success(request, _("%(kiln)s is closed for entry: everybody is out.") % {"kiln": one.kiln})
            return redirect(_back_to(one))
    return _page(request, one, form_close=form)


@require_POST
@needs("permit entry")
def force(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a chamber whose list cannot be completed, with a reason."""
    one = _permit(pk)
    form = ForceForm(request.POST, auto_id="force-%s")

    def change(**said: Any) -> None:
        closing_entry.force_closing(one, **said)
        words = _("%(kiln)s is closed with an incomplete list. Planner and kiln master are told; it stays on record.")
        messages.warning(request, words % {"kiln": one.kiln})

    return _run(request, one, "form_force", form, change)


@require_POST
@needs("do work")
def pause(request: HttpRequest, number: str) -> HttpResponse:
    """Pause a job that is not finished: its people are out."""
    order = get_object_or_404(WorkOrder, number=number)
    form = WhyForm(request.POST)
    form.fields["why"].required = False
    if form.is_valid():
        said = form.cleaned_data
        with refusal_said(request):
            work_orders.pause(order, by=user_of(request), version=said["version"], note=said["why"])
            messages.success(request, _("%(number)s is paused.") % {"number": number})
    return redirect(order)


def _run(
    request: HttpRequest, one: EntryPermit, name: str, form: forms.Form, change: Callable[..., None]
) -> HttpResponse:
    """Run an act at the door with what a form says; a refusal comes back on the page with what was typed."""
    if form.is_valid():
        with refusal_on(form):
            change(**form.cleaned_data, by=user_of(request))
            return redirect(_url(one))
    return _page(request, one, **{name: form})


def _page(request: HttpRequest, one: EntryPermit, **bound: forms.Form) -> HttpResponse:
    stand = entry_of(one.kiln)
    if stand is None or stand.permit.pk != one.pk:
        stand = None
    user, mill = user_of(request), mill_of(request)
    context: dict[str, Any] = {
        "place": "rounds",
        "permit": one,
        "kiln": one.kiln,
        "stand": stand,
        "closing": EntryPermit.objects.filter(opening=one).select_related("by__person").first(),
        "moves": _moves(one, bool(stand)),
        "bars": bars_of(one.kiln),
        "back": _back_to(one),
        "may_enter": stand is not None and user.may("permit entry"),
        "refused": bound.get("form_in") or bound.get("form_out") or bound.get("form_back"),
    }
    if context["may_enter"] and stand:
        context |= {
            "suggested": _suggested(one, stand, person_of(request)),
            "form_in": InForm(auto_id="in-%s", without=[stand.outside, *(one.person for one in stand.inside)]),
            "barring_alarm": door.barring_alarm(stand),
            "form_outside": RelieveForm(mill=mill),
            "form_measured": MeasureForm(mill=mill, asks_air=needs_air_check(one.kiln)),
            "form_close": ClosePermitForm(stand=stand),
            "form_force": ForceForm(auto_id="force-%s"),
            "form_back": TakeBackForm(),
            "may_force": closing_entry.may_force(stand, user) and not (stand.is_empty and not stand.work),
            # One key for each time the page is shown, so that a phone may send a tap twice.
            "page_key": uuid4(),
            "inside_people": [one.person for one in stand.inside],
        } | bound
    return render(request, "door/permit.html", context)


def _moves(one: EntryPermit, is_open: bool) -> list[EntryMove]:
    """Return what was entered, the newest first, marked with what may be taken back and what was."""
    moves = list(one.moves.select_related("person", "by__person", "takes_back").order_by("-id"))
    taken_back = {move.takes_back_id for move in moves if move.takes_back_id}
    free = door.may_be_taken_back(one) if is_open else set()
    for move in moves:
        move.may_take_back = move.pk in free  # type: ignore[attr-defined]
        move.is_taken_back = move.pk in taken_back  # type: ignore[attr-defined]
    return moves


def _suggested(one: EntryPermit, stand: EntryNow, own: Person | None) -> list[Person]:
    """Return who most likely goes in: who is signed in, the teams of the jobs, who was in before."""
    people: dict[int, Person] = {own.pk: own} if own else {}
    orders = [order.pk for order in stand.jobs] + ([one.work_order_id] if one.work_order_id else [])
    wanted = Person.objects.working_here().filter(assignments__work_order__in=orders)
    before = Person.objects.working_here().filter(pk__in=one.moves.filter(act=Act.IN).values("person"))
    for person in [*wanted, *before, *([one.locked_out_by] if one.locked_out_by else [])]:
        people.setdefault(person.pk, person)
    free = [person for person in people.values() if person != stand.outside and not stand.is_inside(person)]
    return free[:SUGGESTED]


def _permit(pk: int) -> EntryPermit:
    related = ("kiln__mill", "work_order", "locked_out_by", "watch_outside", "by__person")
    return get_object_or_404(EntryPermit.objects.select_related(*related), pk=pk, act=EntryPermit.Act.OPENED)


def _url(one: EntryPermit) -> str:
    return one.get_absolute_url()


def _back_to(one: EntryPermit) -> str:
    if one.work_order:
        return one.work_order.get_absolute_url()
    check = FunctionCheck.objects.under_way().filter(kiln=one.kiln).first()
    return check.get_absolute_url() if check else f"/kilns/{one.kiln.tag}/"
