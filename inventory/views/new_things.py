"""New parts, bins and suppliers."""

from collections.abc import Callable
from typing import Any, TypeVar

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from inventory.actions.parts import add_bin, add_part, add_supplier
from inventory.forms.parts import NewBinForm, NewPartForm, NewSupplierForm
from inventory.models import Part
from plant.access import needs
from plant.frame.requests import refusal_on, user_of


@needs("edit parts")
def new_part(request: HttpRequest) -> HttpResponse:
    """Put a part on record, then show its page."""
    form = NewPartForm(request.POST if request.method == "POST" else None)

    def add(data: dict[str, Any]) -> Part:
        return add_part(data.pop("code"), data, list(data.pop("fits")), by=user_of(request))

    if made := _add(form, add):
        messages.success(
            request,
            _("%(part)s is on record. Enter who delivers it, and book in what lies there.") % {"part": made.name},
        )
        return redirect(made)
    return _page(request, form, _("A new part"), _("Once it is on record it is counted, reserved and ordered."))


@needs("edit parts")
def new_bin(request: HttpRequest) -> HttpResponse:
    """Put a bin on record."""
    form = NewBinForm(request.POST if request.method == "POST" else None)
    if made := _add(form, lambda data: add_bin(data.pop("code"), data, by=user_of(request))):
        messages.success(request, _("Bin %(bin)s is on record: parts can be put into it.") % {"bin": made.code})
        return redirect("inventory:storeroom")
    return _page(request, form, _("A new bin"), _("A bin is whatever can be named: shelf, box, rack, cabinet."))


@needs("edit parts")
def new_supplier(request: HttpRequest) -> HttpResponse:
    """Put a supplier on record."""
    form = NewSupplierForm(request.POST if request.method == "POST" else None)
    if made := _add(form, lambda data: add_supplier(data.pop("code"), data, by=user_of(request))):
        messages.success(
            request,
            _("%(supplier)s is on record. Enter on a part's page on what terms it delivers.") % {"supplier": made.name},
        )
        return redirect("inventory:storeroom")
    lead = _("What it delivers, how fast and at what price is entered on the page of each part.")
    return _page(request, form, _("A new supplier"), lead)


_Form = NewPartForm | NewBinForm | NewSupplierForm
Made = TypeVar("Made")


def _add(form: _Form, add: Callable[[dict[str, Any]], Made]) -> Made | None:
    """Put on record what the form holds; None where it is not valid or was refused."""
    if not form.is_valid():
        return None
    with refusal_on(form):
        return add(dict(form.cleaned_data))
    return None


def _page(request: HttpRequest, form: _Form, heading: str, lead: str) -> HttpResponse:
    context = {"form": form, "heading": heading, "lead": lead, "place": "storeroom"}
    return render(request, "inventory/new_thing.html", context)
