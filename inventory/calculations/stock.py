"""What lies where: sums of ledger moves, and which lots to take for an issue.

Nothing here is stored. Stock on hand is always the sum of the moves, so that a figure on the screen
can be traced to the entries that made it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

ZERO = Decimal(0)


class NotEnoughStock(ValueError):  # noqa: N818 (a refusal in the storekeeper's words, not a fault)
    """A move would take more than there is; the message says what, where, and how to mend it."""


@dataclass(frozen=True, order=True)
class Place:
    """Where stock lies: part, bin and lot; the lot is empty where the part has none."""

    part: str
    bin: str
    lot: str = ""

    def __str__(self) -> str:
        """Name the place as the storekeeper would."""
        return f"{self.part} in bin {self.bin}" + (f", lot {self.lot}" if self.lot else "")


@dataclass(frozen=True)
class LotOnShelf:
    """What of a lot lies in one bin; usable up to and including `expires_on`."""

    place: Place
    quantity: Decimal
    expires_on: date | None = None
    received_on: date | None = None


@dataclass(frozen=True)
class Pick:
    """So much to take from one place, in the part's unit."""

    place: Place
    quantity: Decimal


def pick_first_expired(
    shelf: Iterable[LotOnShelf], part: str, quantity: Decimal, today_on: date, unit: str = ""
) -> tuple[Pick, ...]:
    """Choose the lots for an issue: first expired, first out.

    Parameters
    ----------
    shelf : Iterable[LotOnShelf]
        what lies on the shelf, in any order, other parts among it
    part : str
        the part wanted
    quantity : Decimal
        how much is wanted, in the part's unit, above zero
    today_on : date
        day of the issue; what expired before it is never picked
    unit : str
        the part's unit for the message, such as "m"; empty for pieces

    Returns
    -------
    tuple[Pick, ...]
        what to take from where, in the order to take it; lots without expiry come last, and of two
        alike the one received first

    Raises
    ------
    NotEnoughStock
        when the lots fit for use do not hold so much
    ValueError
        when the quantity is not above zero
    """
    if not (quantity.is_finite() and quantity > 0):
        raise ValueError(f"quantity {quantity} to issue must be above 0")
    lots = [lot for lot in shelf if lot.place.part == part and lot.quantity > 0]
    usable = [lot for lot in lots if lot.expires_on is None or lot.expires_on >= today_on]
    picks, missing = [], quantity
    for lot in sorted(usable, key=lambda lot: (lot.expires_on or date.max, lot.received_on or date.max, lot.place)):
        if missing > 0:
            picks.append(Pick(lot.place, min(missing, lot.quantity)))
            missing -= picks[-1].quantity
    if missing > 0:
        raise NotEnoughStock(_shortage_words(part, quantity, lots, usable, unit))
    return tuple(picks)


def _shortage_words(part: str, wanted: Decimal, lots: list[LotOnShelf], usable: list[LotOnShelf], unit: str) -> str:
    held = sum((lot.quantity for lot in usable), ZERO)
    bins = ", ".join(sorted({lot.place.bin for lot in usable}))
    where = f" in bin {bins}" if bins else ""
    expired = sum((lot.quantity for lot in lots), ZERO) - held
    spoilt = f" ({_plain(expired, unit)} more expired and must not be used)" if expired else ""
    return (
        f"{_plain(wanted, unit)} of {part} cannot be issued: {_plain(held, unit)} on hand{where}{spoilt}. "
        f"Issue {_plain(held, unit)} and order the rest, or count the bin and book the count first if more lies there."
        if held
        else f"{_plain(wanted, unit)} of {part} cannot be issued: none on hand{spoilt}. "
        f"Book the receipt first if a delivery has come, or count the bin and book the count if some lies there."
    )


def _plain(quantity: Decimal, unit: str) -> str:
    return f"{quantity.normalize():f}" + (f" {unit}" if unit else "")
