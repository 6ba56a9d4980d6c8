"""A price of waiting in the demo: what the torn door seal of the brook kiln costs a day."""

from dataclasses import fields
from decimal import Decimal
from uuid import UUID

from maintenance.losses.price_of_waiting import KINDS
from maintenance.losses.waiting_loss import Worth, price
from maintenance.models import Defect
from maintenance.pricing.keeping import price_defect
from maintenance.pricing.prefill import grounds_of, proposals
from plant import clock
from plant.models import Mill

KEY = UUID("6c0d9b5e-3f0a-4b0c-9d55-1b6f2f0f3a11")
# Measured at the door; how much longer the charges take is the kiln master's guess until they tell it themselves.
TOLD = {"gap_mm": Decimal(8), "gap_height_m": Decimal("1.2"), "longer_drying_pct": Decimal(8)}


def price_the_seal() -> None:
    """Work out what waiting with the torn seal costs, from what the mill's own records propose."""
    seal = Defect.objects.not_cured().get(kiln__tag="K1", component__kind__code="door-seal")
    mill, kind = Mill.objects.current(), KINDS["door_gap"]
    found = proposals(seal, "door_gap", clock.now())
    values = {one.name: TOLD.get(one.name, found[one.name].value) for one in fields(kind)}
    grounds = grounds_of(found, {**values, "kiln_m3_per_day": found["kiln_m3_per_day"].value}, is_measured=True)
    terms = kind(**{name: float(value or 0) for name, value in values.items()})
    rate = found["kiln_m3_per_day"].value or Decimal(0)
    worth = Worth(mill.energy_price_per_kwh, mill.drying_margin_per_m3, rate, mill.pressure_pa)
    price_defect(
        seal,
        by=None,
        key=KEY,
        seen=0,
        loss="door_gap",
        assumptions={name: str(value) for name, value in values.items()},
        worth=worth,
        found=price(terms, worth, grounds),
        is_measured=True,
    )
