"""The printed purchase order."""

from datetime import datetime

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer

from inventory.models import PurchaseOrder
from plant.frame.figures import fixed, quantity
from plant.pictures.paper import Heading, Paper, grid, text


class OrderPaper(Paper):
    """An order as it goes to the supplier: what, how many, at what price, for when."""

    widths_mm = (32.0, 68.0, 28.0, 25.0, 25.0)

    def __init__(self, order: PurchaseOrder, mill_name: str, currency: str, drawn_at: datetime) -> None:
        super().__init__(mill_name, drawn_at)
        self.order, self.currency = order, currency

    @property
    def title(self) -> str:
        """The order's number."""
        return _("Order %(number)s") % {"number": self.order.number}

    def story(self) -> list[Flowable]:
        """Addressee, what is ordered, and for when."""
        return [Heading(self.title, size=16), *self._addressee(), Spacer(1, 5 * mm), self._lines(), *self._foot()]

    def _addressee(self) -> list[Flowable]:
        supplier = self.order.supplier
        reached = " · ".join(word for word in (supplier.phone, supplier.email) if word)
        blocks = [text(_("To %(supplier)s") % {"supplier": supplier.name}, "lead")]
        return [*blocks, text(reached, "soft")] if reached else blocks

    def _lines(self) -> Flowable:
        rows = [
            [
                line.part.code,
                line.part.name,
                f"{quantity(line.quantity)} {line.part.unit}",
                fixed(line.unit_price, 2),
                fixed(line.value, 2),
            ]
            for line in self.order.lines.all()
        ]
        rows.append(["", _("Together"), "", "", fixed(self.order.value, 2)])
        head = [_("Our code"), _("Part"), _("Quantity"), _("Price"), _("Value in %(money)s") % {"money": self.currency}]
        return grid(head, rows, self.widths_mm, numbers=(2, 3, 4), size="text", last_is_sum=True)

    def _foot(self) -> list[Flowable]:
        order = self.order
        if order.state == PurchaseOrder.State.WITHDRAWN:
            words = _("This order is withdrawn.")
        elif order.promised_on:
            words = _("Promised for %(day)s.") % {"day": date_format(order.promised_on, "j F Y")}
        else:
            words = _("Please say on which day you can deliver.")
        return [Spacer(1, 5 * mm), text(words, "lead"), text(_("Please put our order number on the delivery note."))]
