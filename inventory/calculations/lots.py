"""How many to order at a time where use is random: what ordering costs against what lying on the shelf costs."""

from __future__ import annotations

import math
from decimal import Decimal

#: An order drawn up, sent, received and booked, in the mill's currency. A guess; our own choice.
ORDER_COST = Decimal(25)
#: Of a part's price, what a year on the shelf costs: money, room, loss. Common practice, 20 to 30 %.
HOLDING_SHARE_A_YEAR = 0.25
YEAR_DAYS = 365.25
#: More than a year's use is not ordered at a time, however cheap; nor more than was used in the time on record: who
#: has watched for a quarter does not buy for a year. Our own choice.
MOST_DAYS = 365
#: A record younger than this still pays for so many days. Our own choice.
LEAST_RECORD_DAYS = 90


def economic_order_quantity(fixed_cost: float, demand_rate: float, holding_cost: float) -> float:
    """Give the lot at which ordering and holding cost the same.

    Parameters
    ----------
    fixed_cost : float
        of one order, currency
    demand_rate : float
        units per time, zero or more
    holding_cost : float
        of one unit per time, currency, above zero

    References
    ----------
    Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), section 3.2.
    """
    if holding_cost <= 0:
        raise ValueError(f"holding cost {holding_cost} must be above 0: at no cost the best lot has no end")
    return math.sqrt(2 * fixed_cost * demand_rate / holding_cost)


def economic_lot(
    use_a_day: float, unit_price: Decimal, observed_days: int, shelf_life_days: int | None = None
) -> Decimal:
    """Give the economic lot of a part in whole units, but no more than can be believed.

    Parameters
    ----------
    use_a_day : float
        units a day
    unit_price : Decimal
        currency; zero tells nothing of what lying costs: then the answer is 0, and the cover alone decides
    observed_days : int
        days on record
    shelf_life_days : int | None
        days a new one keeps, None where it keeps for ever

    Notes
    -----
    Of the whole lots beside the economic one the cheaper is taken: ``n + 1`` only where ``n (n + 1)`` lies below its
    square (Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains, from memory).
    """
    if use_a_day <= 0 or unit_price <= 0:
        return Decimal(0)
    holding_cost = float(unit_price) * HOLDING_SHARE_A_YEAR
    lot = economic_order_quantity(float(ORDER_COST), use_a_day * YEAR_DAYS, holding_cost)
    whole = math.floor(lot)
    cheaper = max(1, whole + 1 if lot**2 > whole * (whole + 1) else whole)
    # Half the shelf life is left for what lies there already and for slower use than expected.
    keeps_days = shelf_life_days / 2 if shelf_life_days else MOST_DAYS
    most_days = min(MOST_DAYS, max(observed_days, LEAST_RECORD_DAYS), keeps_days)
    return Decimal(min(cheaper, math.ceil(use_a_day * most_days)))
