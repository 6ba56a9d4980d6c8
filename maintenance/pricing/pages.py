"""What waiting with a defect costs: working it out, and how it was found."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from maintenance.losses.price_of_waiting import KINDS
from maintenance.models import Defect, PriceOfWaiting
from maintenance.pricing.forms import PriceForm
from maintenance.pricing.keeping import price_defect
from maintenance.pricing.prefill import cannot_say, proposals, proposed_loss
from maintenance.pricing.words import how_found, told_assumptions
from plant import clock
from plant.access import needs
from plant.frame.requests import mill_of, refusal_on, user_of


def _defect(pk: int) -> Defect:
    related = ("kiln__mill", "component__kind", "failure_mode")
    return get_object_or_404(Defect.objects.select_related(*related), pk=pk)


@needs("see rounds")
def found(request: HttpRequest, pk: int) -> HttpResponse:
    """Say how the cost of waiting was found, with all that it rests on."""
    defect, mill = _defect(pk), mill_of(request)
    prices = list(defect.prices.newest_first().select_related("by__person"))
    last = prices[0] if prices else None
    context: dict[str, Any] = {"place": "rounds", "defect": defect, "price": last, "earlier": prices[1:]}
    if last:
        context |= {
            "sentences": how_found(last.loss, last.terms(), last.figures, mill),
            "assumptions": told_assumptions(last.loss, last.assumptions, mill),
            "source": KINDS[last.loss].SOURCE,
        }
    return render(request, "pricing/defect_cost.html", context)


@needs("price defects")
def work_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Work out what waiting costs: choose the kind of loss, see and change what it rests on, keep it."""
    defect, mill = _defect(pk), mill_of(request)
    loss = _chosen(request) or proposed_loss(defect)
    context: dict[str, Any] = {"place": "rounds", "defect": defect, "losses": PriceOfWaiting.Loss.choices, "loss": loss}
    if loss is None:
        return render(request, "pricing/defect_price.html", context)
    last = defect.prices.newest_first().first()
    start_from = proposals(defect, loss, clock.now())
    begun = last if last and last.loss == loss else None
    make = partial(
        PriceForm,
        loss=loss,
        proposals=start_from,
        mill=mill,
        seen=last.pk if last else 0,
        was_measured=bool(begun and begun.is_measured),
    )
    form = make(request.POST if request.method == "POST" else None)
    is_preview = bool(request.htmx) or "preview" in request.POST  # type: ignore[attr-defined]
    if request.method == "POST" and not is_preview and form.is_valid() and _keep(request, defect, form):
        return redirect("maintenance:defect-cost", defect.pk)
    # What is proposed has its price too, before anything was typed.
    worked = form if form.is_bound else make(_as_typed(form))
    context |= {
        "form": form,
        "cannot_say": cannot_say(defect.kiln, loss, clock.now()),
        "begun": begun,
        **_result(worked, mill),
    }
    page = "pricing/defect_price_result.html" if is_preview else "pricing/defect_price.html"
    return render(request, page, context)


def _chosen(request: HttpRequest) -> str | None:
    loss = request.GET.get("loss")
    if loss and loss not in KINDS:
        raise Http404
    return loss or None


def _as_typed(form: PriceForm) -> dict[str, Any]:
    return {name: form[name].value() for name in form.fields}


def _result(form: PriceForm, mill: Any) -> dict[str, Any]:
    if not form.is_valid() or form.price is None or form.terms is None:
        return {"faults": [error for errors in form.errors.values() for error in errors]}
    return {
        "worked": form.price,
        "worth": form.worth,
        "bound": PriceOfWaiting.Bound(str(form.price.bound)).label,
        "sentences": how_found(form.loss, form.terms, form.price.figures, mill),
        "source": KINDS[form.loss].SOURCE,
    }


def _keep(request: HttpRequest, defect: Defect, form: PriceForm) -> bool:
    assert form.price is not None and form.worth is not None  # noqa: S101 (a valid form has both)
    with refusal_on(form):
        price_defect(
            defect,
            by=user_of(request),
            key=form.cleaned_data["key"],
            seen=form.cleaned_data["seen"],
            loss=form.loss,
            assumptions=form.kept_assumptions(),
            worth=form.worth,
            found=form.price,
            is_measured=bool(form.cleaned_data.get("is_measured")),
        )
        order = defect.work_orders.unfinished().first()
        takes = _("The price is kept; %(number)s takes it over as its cost of delay.")
        messages.success(request, takes % {"number": order.number} if order else _("The price is kept."))
        return True
    return False
