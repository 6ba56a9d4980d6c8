"""Straight lines through readings whose noise hangs together from one to the next, and what unsure sensors do to them.

Least squares take neighbouring readings for independent and give bounds that are far too narrow; here the noise is a
first-order process, estimated from the residuals and taken out before the line is drawn (Prais and Winsten, 1954; the
correction of the correlation's bias after Kendall, 1954; both from memory).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
MOST_CORRELATION: Final = 0.95
ROUNDS: Final = 4


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients of a linear model with their covariance; ``degrees`` counts what independent readings are left."""

    coefficients: Numbers
    covariance: Numbers
    degrees: int
    correlation: float

    def sd(self, place: int) -> float:
        """Standard deviation of one coefficient."""
        return float(np.sqrt(self.covariance[place, place]))


def fit(design: Numbers, values: Numbers, weights: Numbers, correlation: float | None = None) -> Fit:
    """Fit values to the columns of a design where noise is correlated from one row to the next.

    Parameters
    ----------
    design : Numbers
        shape (n, p), in order of time and evenly spaced
    values : Numbers
        shape (n,)
    weights : Numbers
        shape (n,), one over the size of each value's noise
    correlation : float, optional
        That of neighbouring noise, if it is known already

    Raises
    ------
    ValueError
        If there are fewer than 4 more values than columns, or the columns do not tell the coefficients apart.
    """
    count, columns = design.shape
    if count < columns + 4:
        raise ValueError(f"{count} values are too few for {columns} coefficients")
    scaled, target = design * weights[:, None], values * weights
    found = correlation or 0.0
    for _round in range(ROUNDS if correlation is None else 1):
        rows, wanted = whitened(scaled, found), whitened(target, found)
        coefficients, _rest, rank, _singular = np.linalg.lstsq(rows, wanted, rcond=None)
        if rank < columns:
            raise ValueError("the readings do not tell the coefficients apart")
        noise = target - scaled @ coefficients
        used, found = found, _correlation(noise, columns) if correlation is None else found
    rest = wanted - rows @ coefficients
    variance = float(rest @ rest) / (count - columns)
    # What is left after the correlation is taken out is independent; one more goes for the correlation itself.
    degrees = count - columns - 1
    covariance = variance * np.linalg.inv(rows.T @ rows)
    return Fit(np.asarray(coefficients, dtype=np.float64), covariance, degrees, used)


def whitened(rows: Numbers, correlation: float) -> Numbers:
    """Take the part of each row out that the row before it foretells."""
    found = rows.copy()
    found[1:] = rows[1:] - correlation * rows[:-1]
    found[0] = rows[0] * np.sqrt(1 - correlation**2)
    return found


def _correlation(noise: Numbers, columns: int) -> float:
    whole = float(noise @ noise)
    if whole == 0:
        return 0.0
    found = float(noise[1:] @ noise[:-1]) / whole
    # Residuals of a line show too little of it: by (1 + 3 r)/n for a mean, about twice that for a line.
    found += columns * (1 + 3 * max(found, 0)) / len(noise)
    return min(max(found, 0.0), MOST_CORRELATION)
