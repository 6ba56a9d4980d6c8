"""Put a price on waiting with a defect: it is kept with its assumptions and becomes the work's cost of delay."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from maintenance.losses.waiting_loss import Price, Worth
from maintenance.models import Defect, PriceOfWaiting
from plant import clock
from plant.access import require
from plant.models import Change, User


@transaction.atomic
def price_defect(
    defect: Defect,
    *,
    by: User | None,
    key: UUID,
    seen: int,
    loss: str,
    assumptions: dict[str, str],
    worth: Worth,
    found: Price,
    is_measured: bool = False,
) -> PriceOfWaiting:
    """Keep a price; the defect and its open work order take its cost. Sent twice, it gives the same one.

    ``seen`` is the key of the price that was the last one when the form was opened, 0 for none.
    """
    require(by, "price defects")
    defect = Defect.objects.select_for_update().get(pk=defect.pk)
    known: PriceOfWaiting | None = PriceOfWaiting.objects.filter(key=key).first()
    if known:
        return known
    if defect.cured_at:
        raise ValidationError(_("This defect is off the list already: waiting costs nothing any more."))
    last = defect.prices.newest_first().first()
    if last and last.pk != seen:
        raise ValidationError(
            _("%(who)s worked out a price meanwhile. Nothing of yours was stored; look at it, then send yours again.")
            % {"who": last.by or _("The program")},
            code="stale",
        )
    kept: PriceOfWaiting = PriceOfWaiting.objects.create(
        key=key,
        defect=defect,
        at=clock.now(),
        by=by,
        loss=loss,
        assumptions=assumptions,
        figures={name: round(value, 6) for name, value in found.figures.items()},
        bound=str(found.bound),
        energy_price_per_kwh=worth.energy_price_per_kwh,
        margin_per_m3=worth.margin_per_m3,
        kiln_m3_per_day=worth.kiln_m3_per_day,
        kwh_per_day=found.kwh_per_day,
        m3_per_day=found.m3_per_day,
        physics_cost_per_day=found.sure.physics,
        experience_cost_per_day=found.sure.experience,
        assumption_cost_per_day=found.sure.assumption,
        experience_charges=found.sure.charges,
        is_measured=is_measured,
    )
    _take_over(defect, kept, by)
    return kept


def _take_over(defect: Defect, kept: PriceOfWaiting, by: User | None) -> None:
    before, after = {"cost_of_delay_per_day": str(defect.cost_of_delay_per_day)}, str(kept.cost_per_day)
    defect.cost_of_delay_per_day = kept.cost_per_day
    defect.save(update_fields=["cost_of_delay_per_day"])
    Change.record(
        defect,
        "price of waiting worked out",
        by=by,
        before=before,
        after={"cost_of_delay_per_day": after, "loss": kept.loss},
    )
    for order in defect.work_orders.unfinished().select_for_update():
        before = {"cost_of_delay_per_day": str(order.cost_of_delay_per_day)}
        # The version stays: nobody at the job has to enter anything again because of it.
        order.cost_of_delay_per_day = kept.cost_per_day
        order.save(update_fields=["cost_of_delay_per_day"])
        Change.record(order, "cost of delay changed", by=by, before=before, after={"cost_of_delay_per_day": after})
