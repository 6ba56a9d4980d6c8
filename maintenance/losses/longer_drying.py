"""How much longer charges took since something is wrong, by the kiln's own charges of the same timber."""

from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from statistics import fmean

LEAST_SINCE = 3
LEAST_BEFORE = 3
"""With fewer charges of a timber before, or fewer in all since, chance moves the mean too far. Our own choice."""


@dataclass(frozen=True)
class TimedCharge:
    """A charge that is out: what was dried, and how many hours it took from begin of loading to end of unloading."""

    product: Hashable
    hours: float
    is_since: bool


@dataclass(frozen=True)
class Longer:
    """By how many per cent charges took longer, 0 where they did not, and how many of them tell."""

    longer_pct: float
    since: int
    before: int


def longer_since(charges: Iterable[TimedCharge]) -> Longer | None:
    """Compare charges since something is wrong with those of the same timber before.

    Parameters
    ----------
    charges : Iterable[TimedCharge]
        Of one kiln.

    Returns
    -------
    Longer or None
        The hours of all charges since over what charges of their timber took on average before; None where fewer
        than three before of each timber, or fewer than three since, can be compared.

    Notes
    -----
    A ratio of sums, so that long charges count for more, as they do in what the kiln dries. That the timber came in
    wetter, or that something else went wrong as well, it cannot tell.

    Examples
    --------
    >>> before = [TimedCharge("spruce 50", 100.0, False)] * 4
    >>> longer_since(before + [TimedCharge("spruce 50", 108.0, True)] * 3)
    Longer(longer_pct=8.0, since=3, before=4)
    """
    before: dict[Hashable, list[float]] = defaultdict(list)
    since: dict[Hashable, list[float]] = defaultdict(list)
    for charge in charges:
        (since if charge.is_since else before)[charge.product].append(charge.hours)
    known = [product for product in since if len(before[product]) >= LEAST_BEFORE]
    count = sum(len(since[product]) for product in known)
    if count < LEAST_SINCE:
        return None
    took = sum(sum(since[product]) for product in known)
    usual = sum(len(since[product]) * fmean(before[product]) for product in known)
    longer = max(0.0, round(100 * (took / usual - 1), 1))
    return Longer(longer, count, sum(len(before[product]) for product in known))
