"""What the prices of waiting share: assumptions with their ranges, a loss a day, and its worth in money."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Any, ClassVar

from plant.calculations.arrays import within
from plant.calculations.leaks import Air
from plant.calculations.psychrometrics import relative_humidity


class Bound(StrEnum):
    """Which way the true loss lies from the figure."""

    LOWER = "lower"
    ESTIMATE = "estimate"
    UPPER = "upper"


def assumed(default: float, low: float, high: float, unit: str = "", *, decimals: int = 1, step: float = 0) -> Any:
    """Declare an assumption: what is taken where nobody knows better, its range and its unit.

    A step other than 0 (a number of fans) asks for multiples of it.
    """
    told = {"low": low, "high": high, "unit": unit, "decimals": decimals, "step": step}
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

    def __post_init__(self) -> None:
        for one in fields(self):
            told, value = one.metadata, getattr(self, one.name)
            within(one.name.replace("_", " "), value, told["low"], told["high"], told["unit"])
            if told["step"] and value % told["step"]:
                raise ValueError(f"{one.name.replace('_', ' ')} {value:g} is no multiple of {told['step']:g}")

    def loss(self, kiln_m3_per_day: float) -> Loss:
        """Compute the loss a day; ``kiln_m3_per_day`` is what the kiln dries a day when it is sound."""
        raise NotImplementedError


@dataclass(frozen=True)
class HotChamber(Assumptions):
    """The climate on both sides of the wall while the chamber is hot.

    ``hot_h_per_day`` is how long that is, on an average day over charges and the time between them.
    """

    dry_bulb_c: float = assumed(60, 15, 99, "°C")
    wet_bulb_c: float = assumed(50, 1, 99, "°C")
    outside_c: float = assumed(8, -45, 50, "°C")
    outside_rh_pct: float = assumed(80, 1, 100, "%", decimals=0)
    hot_h_per_day: float = assumed(20, 0, 24, "h")

    def inside(self) -> Air:
        """Return the chamber's air. Raises ValueError for a pair of bulbs that no air has."""
        return Air.by_wet_bulb(self.dry_bulb_c, self.wet_bulb_c)

    def outside(self) -> Air:
        """Return the air that comes in."""
        return Air.by_humidity(self.outside_c, self.outside_rh_pct / 100)

    def air_figures(self) -> dict[str, float]:
        """Return the chamber's relative humidity in %, its enthalpy and that outside in kJ for each kg of dry air."""
        return {
            "chamber_rh_pct": float(relative_humidity(self.dry_bulb_c, self.wet_bulb_c)) * 100,
            "chamber_kj_kg": self.inside().enthalpy_j_kg / 1000,
            "outside_kj_kg": self.outside().enthalpy_j_kg / 1000,
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

    Raises
    ------
    ValueError
        If one of them is negative.
    """

    energy_price_per_kwh: Decimal
    margin_per_m3: Decimal
    kiln_m3_per_day: Decimal

    def __post_init__(self) -> None:
        for name in ("energy_price_per_kwh", "margin_per_m3", "kiln_m3_per_day"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name.replace('_', ' ')} {getattr(self, name)} is outside 0 and above")


@dataclass(frozen=True)
class Price:
    """What a day of waiting costs: ``heat_cost + timber_cost = cost`` exactly, to the hundredth."""

    kwh_per_day: Decimal
    m3_per_day: Decimal
    heat_cost_per_day: Decimal
    timber_cost_per_day: Decimal
    bound: Bound
    figures: Mapping[str, float]

    @property
    def cost_per_day(self) -> Decimal:
        """Heat and timber together."""
        return self.heat_cost_per_day + self.timber_cost_per_day


def price(assumptions: Assumptions, worth: Worth) -> Price:
    """Put a price on a day of waiting.

    Parameters
    ----------
    assumptions : Assumptions
        Of the kind of loss.
    worth : Worth

    Returns
    -------
    Price
        Heat rounded to a tenth of a kWh, timber to a thousandth of a cubic metre, money to a hundredth; the money is
        that of the rounded amounts, so that whoever checks it by hand comes to the same sum.

    Raises
    ------
    ValueError
        If the assumptions contradict each other (a pair of bulbs that no air has, a colder chamber than outside).
    """
    loss = assumptions.loss(float(worth.kiln_m3_per_day))
    kwh, timber = _rounded(loss.kwh_per_day, "0.1"), _rounded(loss.m3_per_day, "0.001")
    return Price(
        kwh_per_day=kwh,
        m3_per_day=timber,
        heat_cost_per_day=_cents(kwh * worth.energy_price_per_kwh),
        timber_cost_per_day=_cents(timber * worth.margin_per_m3),
        bound=loss.bound,
        figures=loss.figures,
    )


def _rounded(value: float, unit: str) -> Decimal:
    return Decimal(value).quantize(Decimal(unit), rounding=ROUND_HALF_EVEN)


def _cents(amount: Decimal) -> Decimal:
    return amount.quantize(Decimal("0.01"), rounding=ROUND_HALF_EVEN)
