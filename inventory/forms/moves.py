"""Forms that book what comes onto the shelf and what leaves it; each calls its action and tells what was booked."""

from decimal import Decimal
from typing import Any
from uuid import uuid4, uuid5

from django import forms
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory import actions
from inventory.forms.fields import (
    BinChoice,
    DayField,
    LotChoice,
    OrderLineChoice,
    PlaceChoice,
    QuantityInput,
    ReservationChoice,
    TakenFrom,
)
from inventory.models import Bin, Lot, Part, PurchaseOrderLine, Reservation, StockLevel, StockMove
from plant import clock
from plant.frame.requests import renew
from plant.models import Mill, User


class MoveForm(forms.Form):
    """What all bookings share: the part, and a key that lets a second sending change nothing."""

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        self.part = part
        kwargs["initial"] = {"key": uuid4(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        if "quantity" in self.fields:
            self.fields["quantity"] = QuantityInput(
                step=part.unit_step, label=_("How many") if part.unit_step == 1 else _("How much"), help_text=part.unit
            )

    def book(self, by: User) -> str:
        """Book what was entered and return what to tell."""
        raise NotImplementedError

    def amount(self, quantity: Decimal) -> str:
        """Write a quantity with its unit."""
        return self.part.amount(quantity)


class ReceiveForm(MoveForm):
    """Goods that come in."""

    quantity = QuantityInput()
    order_line = OrderLineChoice(
        queryset=PurchaseOrderLine.objects.none(), required=False, label=_("Order"), empty_label=_("without an order")
    )
    bin = BinChoice(label=_("Into bin"))
    lot_code = forms.CharField(
        max_length=40, required=False, label=_("Lot"), help_text=_("As printed on the pack; may stay empty.")
    )
    expires_on = DayField(required=False, label=_("Expires"))
    reason = forms.CharField(max_length=160, required=False, label=_("Note"))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        awaited = PurchaseOrderLine.objects.awaited().filter(part=part).select_related("order__supplier", "part")
        self.fields["order_line"].queryset = awaited  # type: ignore[attr-defined]
        self.fields["order_line"].error_messages["invalid_choice"] = _(
            "Nothing more is to come on this order: it is all in by now, or was withdrawn. Choose another, or none."
        )
        self.initial.setdefault("bin", part.bin_id)
        if part.shelf_life_days:
            self.fields["expires_on"].help_text = _(
                "Left empty, the shelf life of %(days)d days counts from today."
            ) % {"days": part.shelf_life_days}

    def book(self, by: User) -> str:
        """Book the receipt, on its order line where one is chosen."""
        data = self.cleaned_data
        line: PurchaseOrderLine | None = data["order_line"]
        shared = {name: data[name] for name in ("key", "bin", "lot_code", "expires_on", "reason")}
        told = _now("Booked in: %(amount)s of %(part)s.") % {
            "amount": self.amount(data["quantity"]),
            "part": self.part.name,
        }
        if line is None:
            actions.receive(self.part, data["quantity"], by=by, **shared)
            return told
        received = actions.receive_line(line, data["quantity"], by=by, **shared)
        if not received.surplus:
            return told
        surplus = _now("That is %(surplus)s more than ordered: settle it with the supplier.")
        return f"{told} {surplus % {'surplus': self.amount(received.surplus)}}"


class IssueForm(MoveForm):
    """Parts that are taken out."""

    quantity = QuantityInput()
    reservation = ReservationChoice(
        queryset=Reservation.objects.none(),
        required=False,
        label=_("For"),
        empty_label=_("no reservation: nobody planned it"),
    )
    lot = LotChoice(
        queryset=Lot.objects.none(), required=False, label=_("Lot"), empty_label=_("what expires first is taken first")
    )
    take_expired = forms.BooleanField(
        required=False, label=_("The lot chosen has expired and is taken all the same; the reason says why.")
    )
    take_from = TakenFrom()
    reason = forms.CharField(max_length=160, required=False, label=_("Reason or note"))

    def __init__(self, *args: Any, part: Part, for_work_only: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        self.fields["reservation"].required = for_work_only
        wanted = Reservation.objects.still_wanted().set_aside().filter(part=part)
        self.fields["reservation"].queryset = wanted  # type: ignore[attr-defined]
        lots = Lot.objects.filter(part=part, levels__on_hand__gt=0).distinct()
        self.fields["lot"].queryset = lots  # type: ignore[attr-defined]
        if not lots.filter(expires_on__lt=clock.today(Mill.objects.current().zone)).exists():
            del self.fields["take_expired"]
        self.fields["take_from"].offer_again(self.data)  # type: ignore[attr-defined]
        if "take_from" not in self.data:
            del self.fields["take_from"]

    def ask(self, refusal: forms.ValidationError) -> None:
        """Ask whom it is taken from, where somebody may say so."""
        if not isinstance(refusal, actions.TakesFromOthers) or not refusal.may_confirm:
            return
        self.fields["take_from"] = TakenFrom()
        self.fields["take_from"].choices = list(refusal.sources.items())  # type: ignore[attr-defined]
        self.fields["reason"] = self.fields.pop("reason")

    def book(self, by: User) -> str:
        """Book the issue and tell from where to take."""
        data = self.cleaned_data
        moves = actions.issue(
            self.part,
            data["quantity"],
            by=by,
            key=data["key"],
            reservation=data["reservation"],
            lot=data["lot"],
            reason=data["reason"],
            take_expired=data.get("take_expired", False),
            take_from=data.get("take_from", ()),
        )
        places = ", ".join(
            _now("%(amount)s from bin %(bin)s") % {"amount": self.amount(-move.quantity), "bin": move.bin.code}
            + (_now(" (lot %(lot)s)") % {"lot": move.lot.code} if move.lot else "")
            for move in moves
        )
        return _now("Booked out: %(places)s.") % {"places": places}


class ReturnForm(MoveForm):
    """Unused parts that come back."""

    quantity = QuantityInput()
    reservation = ReservationChoice(
        queryset=Reservation.objects.none(), required=False, label=_("Taken for"), empty_label=_("no reservation")
    )
    lot = LotChoice(
        queryset=Lot.objects.none(), required=False, label=_("Lot"), empty_label=_("the lot they came from")
    )
    bin = BinChoice(label=_("Into bin"), required=False, empty_label=_("the bin they came from"))
    reason = forms.CharField(max_length=160, required=False, label=_("Note"))

    def __init__(self, *args: Any, part: Part, for_work_only: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        self.fields["reservation"].required = for_work_only
        taken = Reservation.objects.filter(part=part, used__gt=0).order_by("-needed_on")
        self.fields["reservation"].queryset = taken  # type: ignore[attr-defined]
        self.fields["lot"].queryset = Lot.objects.filter(part=part).order_by("-received_on")  # type: ignore[attr-defined]

    def book(self, by: User) -> str:
        """Book the return."""
        names = ("key", "reservation", "lot", "bin", "reason")
        shared = {name: self.cleaned_data[name] for name in names}
        move = actions.give_back(self.part, self.cleaned_data["quantity"], by=by, **shared)
        return _now("Booked back: %(amount)s into bin %(bin)s.") % {
            "amount": self.amount(move.quantity),
            "bin": move.bin.code,
        }


class ScrapForm(MoveForm):
    """Parts that are thrown away."""

    place = PlaceChoice(queryset=StockLevel.objects.none(), label=_("From"), empty_label=None)
    quantity = QuantityInput()
    reason = forms.CharField(max_length=160, label=_("Why"), help_text=_("For example: lot expired, damaged, wet."))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        self.fields["place"].queryset = _places(part)  # type: ignore[attr-defined]

    def book(self, by: User) -> str:
        """Book what is thrown away."""
        data = self.cleaned_data
        level: StockLevel = data["place"]
        actions.scrap(
            self.part, data["quantity"], by=by, key=data["key"], reason=data["reason"], bin=level.bin, lot=level.lot
        )
        return _now("Thrown away: %(amount)s from bin %(bin)s.") % {
            "amount": self.amount(data["quantity"]),
            "bin": level.bin.code,
        }


class TransferForm(MoveForm):
    """Parts that get another bin."""

    place = PlaceChoice(queryset=StockLevel.objects.none(), label=_("From"), empty_label=None)
    to_bin = BinChoice(label=_("Into bin"))
    quantity = QuantityInput()
    reason = forms.CharField(max_length=160, required=False, label=_("Note"))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        self.fields["place"].queryset = _places(part)  # type: ignore[attr-defined]

    def book(self, by: User) -> str:
        """Book both sides of the transfer."""
        data = self.cleaned_data
        level, to_bin = data["place"], data["to_bin"]
        actions.transfer(
            self.part,
            data["quantity"],
            level.bin,
            to_bin,
            level.lot,
            by=by,
            key=data["key"],
            reason=data["reason"],
        )
        return _now("%(amount)s now in bin %(bin)s.") % {"amount": self.amount(data["quantity"]), "bin": to_bin.code}


class TakeBackForm(MoveForm):
    """A booking that is taken back as wrong."""

    reason = forms.CharField(
        max_length=160, label=_("What was wrong"), help_text=_("For example: wrong part, typed 10 for 1.")
    )

    def __init__(self, *args: Any, wrong: StockMove, **kwargs: Any) -> None:
        self.wrong = wrong
        super().__init__(*args, part=wrong.part, **kwargs)

    def book(self, by: User) -> str:
        """Take the booking back."""
        data = self.cleaned_data
        move = actions.take_back(self.wrong, by=by, key=data["key"], reason=data["reason"])
        return _now("Taken back: %(what)s of %(amount)s, bin %(bin)s.") % {
            "what": self.wrong.get_kind_display(),
            "amount": self.amount(abs(move.quantity)),
            "bin": move.bin.code,
        }


class CountForm(MoveForm):
    """What lies in each place of a part; a place that was not counted stays empty."""

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, part=part, **kwargs)
        self.places: dict[str, tuple[Bin, Lot | None]] = {}
        # An empty place of a lot that is still good may hold what the record has missed.
        is_good = Q(lot__expires_on__gte=clock.today(Mill.objects.current().zone))
        for level in _levels(part).filter(Q(on_hand__gt=0) | is_good):
            self._add_place(level.bin, level.lot, level.on_hand)
        if not part.shelf_life_days and _name(part.bin, None) not in self.places:
            self._add_place(part.bin, None, Decimal(0))
        self.fields["reason"] = forms.CharField(max_length=160, required=False, label=_("Note"))

    def _add_place(self, bin_: Bin, lot: Lot | None, on_hand: Decimal) -> None:
        name = _name(bin_, lot)
        self.places[name] = (bin_, lot)
        label = f"{bin_.code}, {lot.code}" if lot else bin_.code
        self.fields[name] = QuantityInput(
            step=self.part.unit_step,
            required=False,
            label=_("Counted in %(place)s") % {"place": label},
            help_text=_("on record: %(amount)s") % {"amount": self.amount(on_hand)},
        )
        self.fields[f"seen_{name}"] = forms.DecimalField(widget=forms.HiddenInput, required=False)
        self.initial[f"seen_{name}"] = on_hand

    def clean(self) -> dict[str, Any]:
        """Ask for at least one figure."""
        data: dict[str, Any] = super().clean() or {}
        if not self.errors and all(data.get(name) is None for name in self.places):
            raise forms.ValidationError(
                _("Write a count in at least one row. What lies there without a row is booked in as a receipt."),
                code="nothing_counted",
            )
        return data

    def book(self, by: User) -> str:
        """Book the difference in each place, all of them or none."""
        told = []
        try:
            with transaction.atomic():
                for name, (bin_, lot) in self.places.items():
                    if self.cleaned_data.get(name) is not None:
                        told.append(self._count_place(name, bin_, lot, by))
        except actions.MoveRefused:
            # The form shows the record as it is now; what was counted stays.
            renew(self, **{f"seen_{name}": self.initial[f"seen_{name}"] for name in self.places})
            raise
        return " ".join(told)

    def _count_place(self, name: str, bin_: Bin, lot: Lot | None, by: User) -> str:
        data = self.cleaned_data
        move = actions.count(
            self.part,
            bin_,
            lot,
            data[name],
            by=by,
            key=uuid5(data["key"], name),
            expected=data[f"seen_{name}"],
            reason=data["reason"],
        )
        if move is None:
            return _now("Bin %(bin)s agrees with the record.") % {"bin": bin_.code}
        return _now("Bin %(bin)s put right by %(difference)s.") % {
            "bin": bin_.code,
            "difference": f"{'+' if move.quantity > 0 else ''}{self.amount(move.quantity)}",
        }


def _name(bin_: Bin, lot: Lot | None) -> str:
    return f"bin{bin_.pk}_lot{lot.pk if lot else 0}"


def _levels(part: Part) -> QuerySet[StockLevel]:
    return StockLevel.objects.filter(part=part).select_related("bin", "lot").order_by("bin__code", "pk")


def _places(part: Part) -> QuerySet[StockLevel]:
    return _levels(part).filter(on_hand__gt=0)
