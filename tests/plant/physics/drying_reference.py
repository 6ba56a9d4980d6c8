"""Published and computed values of drying physics, as arrays."""

import csv
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

FOLDER = Path(__file__).parents[2] / "reference" / "drying"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a file."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def columns(name: str, *wanted: str) -> list[NDArray[np.float64]]:
    """Columns of a file as numbers; NaN where a cell is empty."""
    found = rows(name)
    return [np.array([float(row[column] or "nan") for row in found]) for column in wanted]


def worst(difference: Any) -> float:
    """The largest difference, whichever way; cells without a value are left out."""
    return float(np.nanmax(np.abs(difference)))
