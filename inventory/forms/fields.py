"""Form fields that the stores' forms share."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.models import Bin, Lot, PurchaseOrderLine, Reservation, StockLevel
from plant.frame.days import Day

MOST = Decimal(10) ** 12


class QuantityInput(forms.DecimalField):
    """A quantity of a part's unit, with comma or point; a telephone shows its number keys."""

    def __init__(self, *, step: Decimal = Decimal("0.001"), **kwargs: Any) -> None:
        kwargs.setdefault("max_digits", 12)
        kwargs.setdefault("min_value", Decimal(0))
        super().__init__(
            decimal_places=0 if step == 1 else 3,
            widget=forms.TextInput(attrs={"inputmode": "numeric" if step == 1 else "decimal", "autocomplete": "off"}),
            error_messages={
                "invalid": _("Write a number, such as 12 or 2.5."),
                "max_decimal_places": _("This part is counted in whole units: write a number without decimals.")
                if step == 1
                else _("Write at most three decimals."),
                "min_value": _("Write a number that is not below 0."),
            },
            **kwargs,
        )

    def to_python(self, value: Any) -> Any:
        """Take a decimal comma for a point, and 10.0 for 10."""
        number: Decimal | None = super().to_python(value.replace(",", ".") if isinstance(value, str) else value)
        # What is out of all bounds is left to the validators.
        if number is None or not number.is_finite() or abs(number) > MOST or number != number.to_integral_value():
            return number
        return number.quantize(Decimal(1))


class DayField(Day):
    """A day; where it is none, an example says how to write one."""

    default_error_messages = {"invalid": _("Write a day as 2026-03-31.")}


class PlaceChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A bin and lot in which something lies."""

    def label_from_instance(self, obj: Any) -> str:
        """Name bin, lot, expiry and what lies there."""
        level: StockLevel = obj
        return f"{level.bin.code}{_lot_words(level.lot)}: {_plain(level.on_hand)}"


class LotChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A lot of a part."""

    def label_from_instance(self, obj: Any) -> str:
        """Name the lot and its expiry."""
        lot: Lot = obj
        return f"{lot.code}, {_('expires')} {lot.expires_on.isoformat()}" if lot.expires_on else lot.code


class ReservationChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """What a part was set aside for."""

    def label_from_instance(self, obj: Any) -> str:
        """Name what it is for and how much of it was taken."""
        reservation: Reservation = obj
        return _("%(source)s (%(used)s of %(quantity)s taken) %(purpose)s") % {
            "source": reservation.source,
            "used": _plain(reservation.used),
            "quantity": _plain(reservation.quantity),
            "purpose": reservation.purpose,
        }


class TakenFrom(forms.MultipleChoiceField):
    """Whom parts are taken from all the same, each ticked by itself; shown only once somebody was asked."""

    def __init__(self) -> None:
        super().__init__(required=False, widget=forms.CheckboxSelectMultiple, label=_("Taken all the same, although"))

    def offer_again(self, data: Any) -> None:
        """Offer what was ticked, where the form comes back for another reason."""
        self.choices = [(value, value) for value in self.widget.value_from_datadict(data, {}, "take_from") or []]

    def valid_value(self, value: str) -> bool:
        """Take any source: whether all who lose are named is seen when it is booked."""
        return True


class OrderLineChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A line of an order that is on its way."""

    def label_from_instance(self, obj: Any) -> str:
        """Name the order, its supplier and what is still to come."""
        line: PurchaseOrderLine = obj
        return _("%(order)s, %(supplier)s: %(missing)s to come") % {
            "order": line.order.number,
            "supplier": line.order.supplier.name,
            "missing": _plain(line.missing),
        }


class BinChoice(forms.ModelChoiceField):  # type: ignore[type-arg]
    """A bin of the stores."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(queryset=Bin.objects.all(), **kwargs)


def _lot_words(lot: Lot | None) -> str:
    if lot is None:
        return ""
    expiry = f" ({_('expires')} {lot.expires_on.isoformat()})" if lot.expires_on else ""
    return f", {_('lot')} {lot.code}{expiry}"


def _plain(quantity: Decimal) -> str:
    return f"{Decimal(quantity).normalize():f}"
