"""The stores: what lies there, what to order, and why."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import islice

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import Part, PurchaseOrder
from inventory.querysets import PartQuerySet
from inventory.shelf import EXPIRES_SOON_DAYS, Shelf, gather_shelves
from inventory.words import Tag, morning_sentence, waiting_words, what_to_do
from plant.access import needs
from plant.frame.export import csv_response
from plant.frame.requests import today_of, typed
from plant.frame.saying import say

# What a phone shows in a few screens.
PER_PAGE = 25
EXPORT_CHUNK = 500
SUGGESTIONS = 20
SHOWN = {
    "": gettext_lazy("All parts"),
    "to-order": gettext_lazy("To order"),
    "late": gettext_lazy("Late"),
    "expiring": gettext_lazy("Expiring"),
    "stops": gettext_lazy("Stops the kiln"),
    "none": gettext_lazy("Stops the kiln, none there"),
}


@dataclass(frozen=True)
class Row:
    """A part in the list."""

    part: Part
    shelf: Shelf
    tags: list[Tag]
    reason: str
    waiting: str

    @property
    def is_calm(self) -> bool:
        """Say whether nothing is to do: then the reason is there for those who ask."""
        return not self.waiting and all(tag.look == "sound" for tag in self.tags)


@needs("see stores")
def storeroom(request: HttpRequest) -> HttpResponse:
    """Show what lies in the stores, the most urgent first."""
    day = today_of(request)
    chosen = _chosen(request, day)
    page = Paginator(chosen, PER_PAGE).get_page(request.GET.get("page"))
    kept = Part.objects.in_use()
    context = {
        "page": page,
        "rows": list(_rows(list(page.object_list), day)),
        "lead": morning_sentence(
            kept.to_order().count(),
            PurchaseOrder.objects.late(day).count(),
            PurchaseOrder.objects.filter(state=PurchaseOrder.State.DRAWN_UP).count(),
            kept.none_that_stops(day).count(),
        ),
        "shown": SHOWN,
        "show": _show(request),
        "typed": typed(request, "q"),
        "place": "storeroom",
    }
    return render(request, "inventory/storeroom.html", context)


@needs("see stores")
def storeroom_csv(request: HttpRequest) -> HttpResponse:
    """Give the list, filtered as on the page, as CSV."""
    day = today_of(request)
    header = ["code", "part", "unit", "bin", "without it", "on hand", "reserved", "free", "on order", "reorder at"]
    header += ["order today", "what to do", "why"]
    return csv_response(f"stores-{day.isoformat()}.csv", header, _csv_rows(_chosen(request, day), day))


@needs("see stores")
def part_suggestions(request: HttpRequest) -> HttpResponse:
    """Give the parts that match what was typed, as options of an input."""
    parts = Part.objects.in_use().matching(typed(request, "part")).order_by("name")[:SUGGESTIONS]
    return render(request, "inventory/part_options.html", {"parts": parts})


def _show(request: HttpRequest) -> str:
    show = request.GET.get("show", "")
    return show if show in SHOWN else ""


def _chosen(request: HttpRequest, day: date) -> PartQuerySet:
    parts = Part.objects.in_use().select_related("bin", "advice").matching(typed(request, "q"))
    show = _show(request)
    if show == "to-order":
        parts = parts.to_order()
    elif show == "late":
        parts = parts.overdue(day)
    elif show == "expiring":
        parts = parts.expiring(day, EXPIRES_SOON_DAYS)
    elif show == "stops":
        parts = parts.filter(criticality=Part.Criticality.STOPS)
    elif show == "none":
        parts = parts.none_that_stops(day)
    return parts.most_urgent_first()


def _rows(parts: list[Part], day: date) -> Iterator[Row]:
    shelves = gather_shelves(parts, day)
    for part in parts:
        shelf = shelves[part.pk]
        reason = say(shelf.advice.reason) if shelf.advice else _("The day's work has not looked at this part yet.")
        yield Row(part, shelf, what_to_do(shelf), reason, waiting_words(shelf.waiting))


def _csv_rows(parts: PartQuerySet, day: date) -> Iterator[list[object]]:
    stream = parts.iterator(chunk_size=EXPORT_CHUNK)
    while chunk := list(islice(stream, EXPORT_CHUNK)):
        for row in _rows(chunk, day):
            part, shelf, advice = row.part, row.shelf, row.shelf.advice
            yield [
                part.code,
                part.name,
                part.unit,
                part.bin.code,
                part.get_criticality_display(),
                shelf.on_hand,
                shelf.reserved,
                shelf.free,
                shelf.on_order,
                advice.reorder_point if advice else None,
                advice.order_quantity if advice else None,
                "; ".join(tag.words for tag in row.tags),
                f"{row.reason} {row.waiting}".strip(),
            ]
