"""Forms of purchase orders."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forms.fields import DayField, QuantityInput
from inventory.models import Part, PurchaseOrder
from plant.frame.requests import renew


class _OrderForm(forms.Form):
    """Carries the version that its editor saw."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, order: PurchaseOrder, **kwargs: Any) -> None:
        self.order = order
        kwargs["initial"] = {"version": order.version, **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)

    def renew(self) -> None:
        """After a refusal the form belongs to the order as it is now; what was typed stays."""
        renew(self, version=self.order.version)


class SendForm(_OrderForm):
    """The day the supplier promises."""

    promised_on = DayField(label=_("Promised for"))


class WithdrawForm(_OrderForm):
    """Why an order is withdrawn."""

    reason = forms.CharField(max_length=200, label=_("Why"), help_text=_("For example: the supplier cannot deliver."))


class QuantitiesForm(_OrderForm):
    """How many of each part are ordered; 0 takes a line out."""

    def __init__(self, *args: Any, order: PurchaseOrder, **kwargs: Any) -> None:
        super().__init__(*args, order=order, **kwargs)
        self.lines = {f"line_{line.pk}": line for line in order.lines.all()}
        for name, line in self.lines.items():
            self.fields[name] = QuantityInput(
                step=line.part.unit_step, label=_("Quantity of %(part)s") % {"part": line.part.name}
            )
            self.initial[name] = f"{line.quantity.normalize():f}"


class OrderPartForm(forms.Form):
    """Order a part by hand."""

    reason = forms.CharField(max_length=200, required=False, label=_("Why"))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"] = QuantityInput(step=part.unit_step, label=_("How many"), help_text=part.unit)
        self.order_fields(["quantity", "reason"])
