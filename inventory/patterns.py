"""What the storekeeper's storey says; ``plant.frame.saying`` tells how values are said."""

from typing import Final

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from plant.frame.saying import Patterns

REORDER: Final[Patterns] = {
    "reorder.days": ngettext_lazy("%(count)s day", "%(count)s days", "count"),
    "reorder.days_and_parts": _("%(days)s days"),
    "reorder.issues": ngettext_lazy("%(count)s issue", "%(count)s issues", "count"),
    "reorder.none_there": _("None is there: if one is needed, the kiln is stopped until it has come."),
    "reorder.none_there_for_days": _(
        "None is there: if one is needed, the kiln is stopped for the %(days)s that it takes to arrive."
    ),
    "reorder.planned": _("Planned in the %(days)s it takes to arrive: %(quantity)s."),
    "reorder.planned_with_review": _(
        "Planned in the %(review)s to the next review and the %(days)s it takes to arrive: %(quantity)s."
    ),
    "reorder.no_record": _("No record of use yet: too few days to tell what is used besides."),
    "reorder.too_few_days": _("Too few days to tell what is used besides: %(issues)s in %(days)s on record."),
    "reorder.too_few_days_unused": _("Too few days to tell what is used besides: nothing used in %(days)s on record."),
    "reorder.unused": _("Nothing used besides in %(days)s."),
    "reorder.expected": _("Expected besides: %(quantity)s (%(issues)s in %(days)s)."),
    "reorder.expected_between": _("Expected besides: %(low)s to %(high)s (%(issues)s in %(days)s)."),
    "reorder.supposed": _("Supposed beside the record, from parts of its kind or else of any: one issue in %(days)s."),
    "reorder.season": _("By the time of year %(times)s times the usual use is expected until then."),
    "reorder.will_run_out": _("At %(usable)s it will run out."),
    "reorder.seldom": _("At %(usable)s the chance of running out is under 1 %%."),
    "reorder.nearly_surely": _("At %(usable)s the chance of running out is over 99 %%."),
    "reorder.chance": _("At %(usable)s the chance of running out is %(chance_pct)s."),
    "reorder.point": _("Ordered at %(point)s or less: %(position)s on the shelf and fit for use."),
    "reorder.point_with_orders": _("Ordered at %(point)s or less: %(position)s fit for use or on order."),
    "reorder.late": _("%(quantity)s late by %(days)s and not counted on for this chance: call the supplier."),
    "reorder.late_order": _(
        "%(order)s: %(quantity)s late by %(days)s and not counted on for this chance: call the supplier."
    ),
    "reorder.coming": _("%(quantity)s on order, due %(due_on)s."),
    "reorder.coming_order": _("%(order)s: %(quantity)s on order, due %(due_on)s."),
    "reorder.deliveries_vary": _("Deliveries vary by about %(spread)s; the reorder point allows for it."),
    "reorder.expired": _("Expired on the shelf and not counted: %(quantity)s."),
    "reorder.will_expire_unused": _("Will expire unused and not counted: %(quantity)s."),
    "reorder.least_on_hand": _("The mill keeps at least %(quantity)s."),
    "reorder.no_safety_stock": _(
        "The chance wanted for this part is kept with nothing in reserve: no safety stock is kept (shown as 0)."
    ),
    "reorder.no_supplier": _("No supplier is known, so the lead time counts as 0 days: enter who delivers this part."),
}

#: What the history calls what was done (``Change.act``).
ACTS: Final[Patterns] = {
    "act.counted": _("counted"),
    "act.line added": _("line added"),
    "act.line taken out": _("line taken out"),
    "act.particulars": _("particulars"),
    "act.quantity": _("quantity"),
    "act.set aside": _("set aside"),
    "act.set free": _("set free"),
    "act.stock: receipt": _("stock: receipt"),
    "act.stock: issue": _("stock: issue"),
    "act.stock: return": _("stock: return"),
    "act.stock: count": _("stock: count"),
    "act.stock: scrap": _("stock: scrap"),
    "act.stock: transfer": _("stock: transfer"),
    "act.terms": _("terms of supplier"),
}

PATTERNS: Final[Patterns] = {**ACTS, **REORDER, "order.by_hand": _("asked for by hand")}
