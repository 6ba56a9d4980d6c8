"""What to do about a part or an order, in the words and marks of the stores."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils import dateformat
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import PurchaseOrder, SupplierTerms
from inventory.shelf import Claim, Shelf, is_expired
from plant.frame.figures import quantity
from plant.models import Change


@dataclass(frozen=True)
class Tag:
    """A mark: its look and its words, and where it leads."""

    look: str
    words: str
    url: str = ""


def late_words(days: int) -> str:
    """Say by how much something is late."""
    return ngettext("Late by %(days)d day", "Late by %(days)d days", days) % {"days": days}


def day_words(day: date) -> str:
    """Write a day as in a calendar."""
    return str(dateformat.format(day, "j M"))


def what_to_do(shelf: Shelf) -> list[Tag]:
    """Return the marks of a part, the most pressing first."""
    tags = []
    if shelf.drawn_up:
        drawn_up = sum((line.quantity for line in shelf.drawn_up), Decimal(0))
        words = _("%(quantity)s drawn up, not sent") % {"quantity": quantity(drawn_up)}
        tags.append(Tag("mind", words, shelf.drawn_up[0].order.get_absolute_url()))
    elif shelf.advice and shelf.advice.order_quantity > 0:
        tags.append(Tag("alarm", _("Order %(quantity)s today") % {"quantity": quantity(shelf.advice.order_quantity)}))
    if shelf.late_days:
        late = max(shelf.deliveries, key=lambda delivery: delivery.late_days)
        tags.append(Tag("alarm", late_words(shelf.late_days), late.line.order.get_absolute_url()))
    elif shelf.deliveries:
        tags.append(_on_order(shelf))
    if shelf.is_none_that_stops:
        tags.insert(0, Tag("alarm", _("None there: stops the kiln")))
    if not tags:
        tags.append(Tag("sound", _("Enough")) if shelf.advice else Tag("", _("Not worked out yet")))
    lot = shelf.first_to_expire
    if lot and lot.expires_on:
        words = _("Expired %(day)s") if is_expired(lot, shelf.day) else _("Expires %(day)s")
        tags.append(Tag("mind", words % {"day": day_words(lot.expires_on)}))
    return tags


def _on_order(shelf: Shelf) -> Tag:
    delivery = shelf.next_delivery or shelf.deliveries[0]
    due_on = delivery.line.order.promised_on
    words = _("On order, due %(day)s") % {"day": day_words(due_on)} if due_on else _("On order, no day promised")
    return Tag("steam", words, delivery.line.order.get_absolute_url())


def waiting_words(claims: list[Claim]) -> str:
    """Say who waits for a part."""
    names = [
        f"{claim.reservation.source} ({claim.reservation.purpose})"
        if claim.reservation.purpose
        else claim.reservation.source
        for claim in claims[:3]
    ]
    if len(claims) > 3:
        names.append(_("%(number)d more") % {"number": len(claims) - 3})
    return _("Waiting for it: %(names)s.") % {"names": ", ".join(names)} if names else ""


def order_tag(order: PurchaseOrder, day: date) -> Tag:
    """Return the mark of an order's state; a late one says by how much."""
    late_days = order.late_days(day)
    if late_days:
        return Tag("alarm", late_words(late_days))
    looks = {
        PurchaseOrder.State.DRAWN_UP: "mind",
        PurchaseOrder.State.SENT: "steam",
        PurchaseOrder.State.PART_ARRIVED: "steam",
        PurchaseOrder.State.ARRIVED: "sound",
    }
    return Tag(looks.get(PurchaseOrder.State(order.state), ""), str(order.get_state_display()))


def history_words(change: Change) -> str:
    """Say what an entry of an order's history did: what was there before, and what after."""
    before, after = (_figures_in_words(figures) for figures in (change.before, change.after))
    if change.act == "state":
        act = ""
    else:
        act = {"line added": _("added:"), "line taken out": _("taken out:"), "quantity": _("quantity:")}[change.act]
    return " ".join(words for words in (act, before, "→" if before and after else "", after) if words)


def quantity_warning(ordered: Decimal, terms: SupplierTerms | None) -> str:
    """Say where a quantity is not what the supplier delivers; the order may go out all the same."""
    if terms is None:
        return ""
    words = []
    if ordered < terms.least_order:
        words.append(_("The supplier delivers no less than %(least)s.") % {"least": quantity(terms.least_order)})
    over = ordered % terms.pack_size
    if over:
        less, more = ordered - over, ordered - over + terms.pack_size
        words.append(
            _("It comes in packs of %(pack)s: order %(less)s or %(more)s.")
            % {"pack": quantity(terms.pack_size), "less": quantity(less), "more": quantity(more)}
            if less
            else _("It comes in packs of %(pack)s: order at least one.") % {"pack": quantity(terms.pack_size)}
        )
    return " ".join(words)


def particulars_words(change: Change) -> str:
    """Say what a change of a part's particulars or terms put in the place of what."""
    words = [
        f"{name.replace('_', ' ')}: {_shown(change.before.get(name))} → {_shown(value)}"
        for name, value in change.after.items()
        if change.before.get(name) != value
    ]
    act = " ".join(filter(None, (change.did, change.after.get("supplier"))))
    return f"{act}: {'; '.join(words) or _('nothing changed')}"


def _shown(value: str | list[str] | None) -> str:
    return ", ".join(value) or "–" if isinstance(value, list) else value or "–"


def _figures_in_words(figures: dict[str, str]) -> str:
    states = dict(PurchaseOrder.State.choices)
    words = []
    for name, value in figures.items():
        if name == "state":
            words.append(str(states.get(PurchaseOrder.State(value), value)))
        elif name == "promised_on":
            words.append(_("promised for %(day)s") % {"day": day_words(date.fromisoformat(value))} if value else "")
        else:
            words.append(f"{name} {value}")
    return ", ".join(word for word in words if word)


def morning_sentence(to_order: int, late: int, to_send: int, none_that_stops: int) -> str:
    """Say what matters in the stores this morning."""
    parts = []
    if none_that_stops:
        words = ngettext(
            "%(n)d part that stops a kiln is not there", "%(n)d parts that stop a kiln are not there", none_that_stops
        )
        parts.append(words % {"n": none_that_stops})
    if to_order:
        parts.append(ngettext("%(n)d part to order today", "%(n)d parts to order today", to_order) % {"n": to_order})
    if to_send:
        parts.append(ngettext("%(n)d order to send", "%(n)d orders to send", to_send) % {"n": to_send})
    if late:
        parts.append(ngettext("%(n)d delivery late", "%(n)d deliveries late", late) % {"n": late})
    if not parts:
        return _("Nothing to order today, and no delivery is late.")
    return ", ".join(parts) + "."
