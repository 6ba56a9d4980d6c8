"""What the prices of waiting share: assumptions with their ranges, a loss a day, and its worth in money."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields, replace
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Any, ClassVar, Self

from plant.physics.arrays import within
from plant.physics.leaks import Air
from plant.physics.psychrometrics import STANDARD_PRESSURE_PA, relative_humidity

HOTTEST_CHAMBER_C = 130.0
"""Psychrometry is held against CoolProp and psychrolib up to here; hotter than any kiln that dries timber in air."""


class Bound(StrEnum):
    """Which way the true loss lies from the figure."""

    LOWER = "lower"
    ESTIMATE = "estimate"
    UPPER = "upper"


def assumed(
    default: float,
    low: float,
    high: float,
    unit: str = "",
    *,
    decimals: int = 1,
    step: float = 0,
    costs_least: float | None = None,
) -> Any:
    """Declare an assumption: what is taken where nobody knows better, its range and its unit.

    A step other than 0 (a number of fans) asks for multiples of it. What nobody can measure at the defect is a guess:
    ``costs_least`` is the value of it at which the loss is least.
    """
    told = {"low": low, "high": high, "unit": unit, "decimals": decimals, "step": step, "costs_least": costs_least}
    return field(default=default, metadata=told)


@dataclass(frozen=True)
class Loss:
    """What a defect loses a day.

    ``kwh_per_day`` is heat in kWh, ``m3_per_day`` timber that is not dried or no longer worth its margin, and
    ``figures`` what was worked out on the way, units in the names.
    """

    kwh_per_day: float
    m3_per_day: float
    bound: Bound
    figures: Mapping[str, float]


@dataclass(frozen=True)
class Assumptions:
    """What a price rests on; all of it is shown and may be changed.

    Raises
    ------
    ValueError
        If a value is outside the range that its field declares, named with value and range.
    """

    SOURCE: ClassVar[str] = ""
    HAS_LEAST: ClassVar[bool] = False
    """Whether physics gives a lower bound of it where what can be measured was measured."""

    def __post_init__(self) -> None:
        for one in fields(self):
            told, value = one.metadata, getattr(self, one.name)
            within(one.name.replace("_", " "), value, told["low"], told["high"], told["unit"])
            if told["step"] and value % told["step"]:
                raise ValueError(f"{one.name.replace('_', ' ')} {value:g} is no multiple of {told['step']:g}")

    def loss(self, kiln_m3_per_day: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Loss:
        """Compute the loss a day; ``kiln_m3_per_day`` is what the kiln dries a day when it is sound."""
        raise NotImplementedError

    def least(self, known: Collection[str]) -> Self:
        """Return the same with every guess at the value that costs least, but for those that are ``known``."""
        lowered: dict[str, float] = {}
        for one in fields(self):
            floor = one.metadata["costs_least"]
            if floor is not None and one.name not in known:
                nearer = max if floor == one.metadata["high"] else min
                lowered[one.name] = nearer(floor, getattr(self, one.name))
        return replace(self, **lowered)


@dataclass(frozen=True)
class HotChamber(Assumptions):
    """The climate on both sides of the wall while the chamber is hot.

    ``hot_h_per_day`` is how long that is, on an average day over charges and the time between them.
    """

    dry_bulb_c: float = assumed(60, 15, HOTTEST_CHAMBER_C, "°C")
    wet_bulb_c: float = assumed(50, 1, 99.9, "°C")
    outside_c: float = assumed(8, -45, 50, "°C")
    outside_rh_pct: float = assumed(80, 1, 100, "%", decimals=0)
    hot_h_per_day: float = assumed(20, 0, 24, "h", costs_least=0)

    def inside(self, pressure_pa: float = STANDARD_PRESSURE_PA) -> Air:
        """Return the chamber's air. Raises ValueError for a pair of bulbs that no air has."""
        return Air.by_wet_bulb(self.dry_bulb_c, self.wet_bulb_c, pressure_pa)

    def outside(self, pressure_pa: float = STANDARD_PRESSURE_PA) -> Air:
        """Return the air that comes in."""
        return Air.by_humidity(self.outside_c, self.outside_rh_pct / 100, pressure_pa)

    def air_figures(self, pressure_pa: float) -> dict[str, float]:
        """Return the chamber's relative humidity in %, its enthalpy and that outside in kJ for each kg of dry air."""
        return {
            "chamber_rh_pct": float(relative_humidity(self.dry_bulb_c, self.wet_bulb_c, pressure_pa)) * 100,
            "chamber_kj_kg": self.inside(pressure_pa).enthalpy_j_kg / 1000,
            "outside_kj_kg": self.outside(pressure_pa).enthalpy_j_kg / 1000,
        }


def lost_heat_kw(watts: float) -> float:
    """Turn W into kW. Raises ValueError where the outer air is the richer one: then nothing is lost."""
    if watts < 0:
        raise ValueError(
            f"heat flow {watts / 1000:.2f} kW is outside 0 and above: outer air holds more heat than the chamber's"
        )
    return watts / 1000


@dataclass(frozen=True)
class Worth:
    """What a kWh of heat and a cubic metre are worth to the mill, in its currency, and what the kiln dries a day.

    ``pressure_pa`` is the air pressure at the mill.

    Raises
    ------
    ValueError
        If one of them is negative.
    """

    energy_price_per_kwh: Decimal
    margin_per_m3: Decimal
    kiln_m3_per_day: Decimal
    pressure_pa: float = STANDARD_PRESSURE_PA

    def __post_init__(self) -> None:
        for name in ("energy_price_per_kwh", "margin_per_m3", "kiln_m3_per_day"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name.replace('_', ' ')} {getattr(self, name)} is outside 0 and above")


@dataclass(frozen=True)
class Grounds:
    """What the values of a price rest on.

    ``is_measured``: whatever can be measured at the defect was. ``on_record``: guesses that the kiln's records answer.
    ``charges``: what comes from the mill's own charges, and from how many.
    """

    is_measured: bool = False
    on_record: frozenset[str] = frozenset()
    charges: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Sureness:
    """A cost in three parts that add up to it: how sure each of them is.

    ``physics`` is a lower bound, ``experience`` comes from so many ``charges`` of the mill, ``assumption`` is a guess.
    """

    physics: Decimal = Decimal(0)
    experience: Decimal = Decimal(0)
    assumption: Decimal = Decimal(0)
    charges: int = 0

    @property
    def total(self) -> Decimal:
        """All of it."""
        return self.physics + self.experience + self.assumption


@dataclass(frozen=True)
class Price:
    """What a day of waiting costs: ``heat_cost + timber_cost = cost`` exactly, fractions of a cent included."""

    kwh_per_day: Decimal
    m3_per_day: Decimal
    heat_cost_per_day: Decimal
    timber_cost_per_day: Decimal
    sure: Sureness
    bound: Bound
    figures: Mapping[str, float]

    @property
    def cost_per_day(self) -> Decimal:
        """Heat and timber together; rounded only where it leaves as the cost of delay."""
        return self.heat_cost_per_day + self.timber_cost_per_day


def price(assumptions: Assumptions, worth: Worth, grounds: Grounds | None = None) -> Price:
    """Put a price on a day of waiting.

    Parameters
    ----------
    assumptions : Assumptions
        Of the kind of loss.
    worth : Worth
    grounds : Grounds, optional
        What the values rest on; without it all of the price is a guess.

    Returns
    -------
    Price
        Heat rounded to a tenth of a kWh, timber to a thousandth of a cubic metre; the money is that of the rounded
        amounts to its last decimal, so that whoever checks it by hand comes to the same sum.

    Raises
    ------
    ValueError
        If the assumptions contradict each other (a pair of bulbs that no air has, a colder chamber than outside).
    """
    loss = assumptions.loss(float(worth.kiln_m3_per_day), worth.pressure_pa)
    heat, timber = _worth_of(loss, worth)
    sure = _sureness(assumptions, worth, grounds or Grounds(), heat + timber)
    # A price is a lower bound only if nothing but physics is in it.
    is_more = loss.bound is Bound.LOWER and sure.physics < sure.total
    return Price(
        kwh_per_day=_rounded(loss.kwh_per_day, "0.1"),
        m3_per_day=_rounded(loss.m3_per_day, "0.001"),
        heat_cost_per_day=heat,
        timber_cost_per_day=timber,
        sure=sure,
        bound=Bound.ESTIMATE if is_more else loss.bound,
        figures=loss.figures,
    )


def _sureness(assumptions: Assumptions, worth: Worth, grounds: Grounds, total: Decimal) -> Sureness:
    """Split a cost: what is left with each guess at its cheapest, what the mill's charges add, and the rest."""
    m3_per_day = float(worth.kiln_m3_per_day)
    heat, timber = _worth_of(assumptions.least(grounds.on_record).loss(m3_per_day, worth.pressure_pa), worth)
    physics = min(total, heat + timber) if grounds.is_measured and assumptions.HAS_LEAST else Decimal(0)
    charges = {name: count for name, count in grounds.charges.items() if count}
    experience, asked = Decimal(0), 0
    # What the kiln dries a day is in it too: typed, it would make a guess of the whole.
    if "kiln_m3_per_day" in charges:
        own = [name for name in charges if name != "kiln_m3_per_day"]
        told = assumptions.least(grounds.on_record.union(own)).loss(m3_per_day, worth.pressure_pa)
        seen = _worth_of(told, worth)[1]
        experience = min(total - physics, max(Decimal(0), seen - timber))
        asked = min((charges[name] for name in own), default=0) if experience else 0
    return Sureness(physics, experience, total - physics - experience, asked)


def _worth_of(loss: Loss, worth: Worth) -> tuple[Decimal, Decimal]:
    """Return what heat and timber are worth, each to its last decimal."""
    heat = _rounded(loss.kwh_per_day, "0.1") * worth.energy_price_per_kwh
    return heat, _rounded(loss.m3_per_day, "0.001") * worth.margin_per_m3


def _rounded(value: float, unit: str) -> Decimal:
    return Decimal(value).quantize(Decimal(unit), rounding=ROUND_HALF_EVEN)


def to_the_cent(amount: Decimal) -> Decimal:
    """Round an amount where it leaves: the one place in which a price of waiting is rounded."""
    return amount.quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)
