"""Units of readings as sources write them, turned into the unit in which a quantity is kept, and back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plant.physics.quantities import QUANTITIES


@dataclass(frozen=True, slots=True)
class _Unit:
    """A unit of a dimension, named by the unit in which it is kept: ``kept = value * factor + offset``."""

    kept_as: str
    factor: float = 1.0
    offset: float = 0.0


# °F: NIST SP 811 (2008), appendix B.8, (t - 32)/1.8; the ice point of 273.15 K is exact (BIPM, SI Brochure, 2.3.1).
_KNOWN: Final[dict[str, tuple[_Unit, ...]]] = {
    "degC": (_Unit("degC"),),
    "degF": (_Unit("degC", 1 / 1.8, -32 / 1.8),),
    "kelvin": (_Unit("degC", 1.0, -273.15),),
    "percent": (_Unit("percent"),),
    "one": (_Unit("one"), _Unit("percent", 100.0), _Unit("number")),
    "ampere": (_Unit("ampere"),),
    "milliampere": (_Unit("ampere", 1e-3),),
    "kilowatt": (_Unit("kilowatt"),),
    "watt": (_Unit("kilowatt", 1e-3),),
    "megawatt": (_Unit("kilowatt", 1e3),),
    "number": (_Unit("number"), _Unit("one")),
}

_SPELLED: Final[dict[str, tuple[str, ...]]] = {
    "degC": ("degC", "°C", "C", "deg C", "grad C", "celsius", "\N{DEGREE CELSIUS}"),
    "degF": ("degF", "°F", "F", "deg F", "fahrenheit", "\N{DEGREE FAHRENHEIT}"),
    "kelvin": ("kelvin", "K", "\N{KELVIN SIGN}"),
    "percent": ("percent", "%", "per cent", "pct", "% RH", "%RH", "% rh", "%rF", "% rF", "% r.F.", "% MC", "%MC"),
    "one": ("one", "1", "fraction"),
    "ampere": ("ampere", "A", "amp", "amps", "amperes"),
    "milliampere": ("milliampere", "mA"),
    "kilowatt": ("kilowatt", "kW"),
    "watt": ("watt", "W"),
    "megawatt": ("megawatt", "MW"),
    "number": ("number",),
}

UNITS: Final[dict[str, str]] = {spelled: unit for unit, names in _SPELLED.items() for spelled in names}
"""How sources spell units -> the unit's name here."""


def units_of(quantity: str) -> list[str]:
    """Return the units in which a quantity may be written, the one it is kept in first.

    Raises
    ------
    ValueError
        If the quantity is not known.
    """
    kept = _kept_unit(quantity)
    others = [name for name, forms in _KNOWN.items() if name != kept and any(form.kept_as == kept for form in forms)]
    return [kept, *others]


def known_unit(spelled: str) -> str | None:
    """Return the name of a unit as it is spelled, in whatever case where that leaves no doubt; None if unknown."""
    name = spelled.strip()
    if name in UNITS:
        return UNITS[name]
    # mW and MW, or k and K, are not the same: only spellings that mean one thing in any case are matched so.
    matches = {unit for known, unit in UNITS.items() if len(known) > 2 and known.casefold() == name.casefold()}
    return matches.pop() if len(matches) == 1 else None


def to_kept(quantity: str, values: ArrayLike, unit: str) -> NDArray[np.float64]:
    """Turn values as a source writes them into the unit in which the quantity is kept.

    Parameters
    ----------
    quantity : str
        One of `plant.physics.quantities.QUANTITIES`.
    values : array_like
        In ``unit``; anything, NaN included.
    unit : str
        As the source spells it; empty for the unit in which the quantity is kept.

    Returns
    -------
    NDArray[float64]
        In the quantity's unit; nothing is rounded or clamped.

    Raises
    ------
    ValueError
        If quantity or unit is not known, or the quantity cannot be written in that unit.

    Examples
    --------
    >>> to_kept("air_temperature", [32, 212], "°F").round(9).tolist()
    [0.0, 100.0]
    >>> to_kept("relative_humidity", [0.5], "fraction").tolist()
    [50.0]
    """
    form = _form(quantity, unit)
    return np.asarray(values, np.float64) * form.factor + form.offset


def from_kept(quantity: str, values: ArrayLike, unit: str) -> NDArray[np.float64]:
    """Turn values of a quantity into another unit: ``to_kept`` the other way round, with the same refusals."""
    form = _form(quantity, unit)
    return (np.asarray(values, np.float64) - form.offset) / form.factor


def _kept_unit(quantity: str) -> str:
    if quantity not in QUANTITIES:
        raise ValueError(f"quantity {quantity!r} is not known; known are {', '.join(QUANTITIES)}")
    return QUANTITIES[quantity].unit


def _form(quantity: str, unit: str) -> _Unit:
    kept = _kept_unit(quantity)
    name = known_unit(unit) if unit.strip() else kept
    if name is None:
        raise ValueError(f"unit {unit!r} is not known; {quantity} may be written in {_listed(units_of(quantity))}")
    for form in _KNOWN[name]:
        if form.kept_as == kept:
            return form
    raise ValueError(f"{quantity} is not written in {unit}; it may be written in {_listed(units_of(quantity))}")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
