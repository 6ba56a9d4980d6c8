"""Numbers and arrays of numbers that computations take, and the refusal of what lies outside their range."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]


def within(name: str, value: ArrayLike, low: float, high: float, unit: str) -> Numbers:
    """Return the numbers as an array, all of them finite and inside a range.

    Parameters
    ----------
    name : str
        What the quantity is called in the message.
    value : array_like
        Numbers in ``unit``.
    low, high : float
        Smallest and largest that is allowed, in ``unit``; both belong to the range.
    unit : str
        Unit for the message; empty for a pure number.

    Raises
    ------
    ValueError
        Names the quantity, the first value outside (NaN is outside) and the range.
    """
    numbers = np.asarray(value, dtype=np.float64)
    # A NaN is the smallest and the largest of all, and not inside.
    if numbers.size and not (numbers.min() >= low and numbers.max() <= high):
        is_outside = ~((numbers >= low) & (numbers <= high))
        worst = float(numbers[is_outside].flat[0])
        raise ValueError(f"{name} {worst:g}{f' {unit}' if unit else ''} is outside {low:g} to {high:g}")
    return numbers


def first_where(is_wrong: NDArray[np.bool_], *values: ArrayLike) -> tuple[float, ...]:
    """Return the values at the first place where something is wrong, for a message."""
    mask, *spread = np.broadcast_arrays(is_wrong, *(np.asarray(value, dtype=np.float64) for value in values))
    return tuple(float(one[mask].flat[0]) for one in spread)
