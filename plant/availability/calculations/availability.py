"""Availability, mean operating time between failures and mean time to restoration of one kiln or a fleet.

Every ratio is an exact fraction, or None where it is not defined: without required time a kiln is neither available
nor unavailable, and a page shows a dash.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from plant.basics.periods import Period
from plant.basics.poisson import poisson_mean
from plant.charges.calculations.downtime import WHOLE, Downtime, DowntimeKind
from plant.charges.calculations.time_account import Split, TimeAccount


class TimeBase(StrEnum):
    """Over which time availability is taken: all of the period, or that in which there was something to dry.

    Time that a cause outside the kiln took is in neither: it says nothing about the kiln, for or against it.
    """

    CALENDAR = "calendar"
    REQUIRED = "required"


def availability(account: TimeAccount, base: TimeBase) -> Fraction | None:
    """Give the mean availability of a period, full stops only.

    Returns
    -------
    Fraction or None
        0 to 1; None if the base holds no time.

    Notes
    -----
    (base time - planned and unplanned down time) / base time; deratings do not count. Over required time, stops
    while there was no timber do not count either (EN 13306:2017; IEC 60050-192-08-05).
    """
    split, base_ms = _base(account, base, is_equivalent=False)
    return _ratio(base_ms - split.down_s * WHOLE, base_ms)


def equivalent_availability(account: TimeAccount, base: TimeBase) -> Fraction | None:
    """Give the availability of a period with deratings counted by the share of capacity they cost.

    Returns
    -------
    Fraction or None
        0 to 1; None if the base holds no time.

    References
    ----------
    EAF = (AH - EUDH - EPDH - ESEDH) / PH: IEEE Std 762-2006; NERC GADS Data Reporting Instructions, App. F.
    """
    split, base_ms = _base(account, base, is_equivalent=True)
    return _ratio(base_ms - split.equivalent_down_ms, base_ms)


def fleet_availability(
    kilns: Iterable[tuple[TimeAccount, Decimal]], base: TimeBase, *, is_equivalent: bool = True
) -> Fraction | None:
    """Give the availability of several kilns, each weighted by its usable volume and its hours in the base.

    Parameters
    ----------
    kilns : Iterable[tuple[TimeAccount, Decimal]]
        Account and usable m3 of each kiln.
    base : TimeBase
    is_equivalent : bool
        Whether deratings count by the share they cost.

    Returns
    -------
    Fraction or None
        0 to 1; None if no kiln has time in the base.

    Raises
    ------
    ValueError
        If a volume is not above 0.

    References
    ----------
    Weighted EAF, NERC GADS App. F. Where all kilns have the same hours this is sum(A V) / sum(V).
    """
    up = total = Fraction(0)
    for account, usable_m3 in kilns:
        if not usable_m3 > 0:
            raise ValueError(f"usable volume {usable_m3} m3 is not above 0")
        split, base_ms = _base(account, base, is_equivalent=is_equivalent)
        lost_ms = split.equivalent_down_ms if is_equivalent else split.down_s * WHOLE
        total += Fraction(usable_m3) * base_ms
        up += Fraction(usable_m3) * (base_ms - lost_ms)
    return up / total if total else None


def _base(account: TimeAccount, base: TimeBase, *, is_equivalent: bool) -> tuple[Split, int]:
    """Give the view and its time in milliseconds, without what a cause outside the kiln took."""
    split = account.calendar if base is TimeBase.CALENDAR else account.required
    base_s = split.total_s - split.external_s if base is TimeBase.CALENDAR else split.required_s
    return split, base_s * WHOLE - (split.slowed_external_ms if is_equivalent else 0)


def _ratio(part: int, whole: int) -> Fraction | None:
    return Fraction(part, whole) if whole else None


@dataclass(frozen=True, slots=True)
class Failure:
    """One unplanned stop or slowing: records of the same cause that touch or overlap are one failure."""

    kiln_id: int
    cause: str
    start_at: datetime
    end_at: datetime | None

    @property
    def time_to_restoration(self) -> timedelta | None:
        """From the failure to the function being back; None while it is not."""
        return None if self.end_at is None else self.end_at - self.start_at


def failures(downtime: Iterable[Downtime], period: Period, *, stops_only: bool = False) -> list[Failure]:
    """List the failures that began inside a period.

    Parameters
    ----------
    downtime : Iterable[Downtime]
        Records of any kilns in any order. Give also those that began before the period: a record that only goes on
        with an earlier one of the same cause is no new failure.
    period : Period
    stops_only : bool
        Leave out failures that only slowed the kiln.

    Returns
    -------
    list[Failure]
        By start. Planned downtime and lack of timber are no failures.
    """
    unplanned = [
        record
        for record in downtime
        if record.kind is DowntimeKind.UNPLANNED
        and record.share_lost_thousandths > 0
        and (record.is_stop or not stops_only)
    ]
    return sorted(
        (failure for failure in _merged(unplanned) if period.start_at <= failure.start_at < period.end_at),
        key=lambda failure: (failure.start_at, failure.kiln_id, failure.cause),
    )


def _merged(records: Sequence[Downtime]) -> list[Failure]:
    merged: list[Failure] = []
    for record in sorted(records, key=lambda r: (r.kiln_id, r.cause, r.start_at)):
        last = merged[-1] if merged else None
        if (
            last is not None
            and (last.kiln_id, last.cause) == (record.kiln_id, record.cause)
            and (last.end_at is None or record.start_at <= last.end_at)
        ):
            end_at = None if last.end_at is None or record.end_at is None else max(last.end_at, record.end_at)
            merged[-1] = Failure(last.kiln_id, last.cause, last.start_at, end_at)
        else:
            merged.append(Failure(record.kiln_id, record.cause, record.start_at, record.end_at))
    return merged


@dataclass(frozen=True, slots=True)
class FailureFigures:
    """How often a kiln failed and how long it took to bring it back.

    ``mtbf_h`` is None without a failure; then ``mtbf_lower_h`` alone says something. ``mean_time_to_restoration_h``
    is over the failures that are over; ``open_failures`` counts the others. Hours throughout.
    """

    operating_h: Fraction
    failures: int
    open_failures: int
    mtbf_h: Fraction | None
    mtbf_lower_h: float | None
    mtbf_upper_h: float | None
    mean_time_to_restoration_h: Fraction | None


def failure_figures(operating_s: int, found: Sequence[Failure], confidence: float = 0.9) -> FailureFigures:
    """Give mean operating time between failures, its bounds, and mean time to restoration.

    Parameters
    ----------
    operating_s : int
        Operating time in which the failures were counted, in seconds; never calendar time.
    found : Sequence[Failure]
    confidence : float
        Of the two-sided bounds, between 0 and 1. Without a failure the lower bound is one-sided at the same
        upper tail, (1 - confidence) / 2.

    Raises
    ------
    ValueError
        If the operating time is negative or the confidence outside 0 to 1.

    References
    ----------
    IEC 60050-192-05-13 (operating time over failures) and 192-07-23 (mean time to restoration).
    """
    if operating_s < 0:
        raise ValueError(f"operating time {operating_s} s is negative")
    operating_h = Fraction(operating_s, 3600)
    times = [failure.time_to_restoration for failure in found]
    restored_s = [int(time.total_seconds()) for time in times if time is not None]
    lower, upper = mtbf_bounds_h(float(operating_h), len(found), confidence)
    return FailureFigures(
        operating_h=operating_h,
        failures=len(found),
        open_failures=len(found) - len(restored_s),
        mtbf_h=operating_h / len(found) if found else None,
        mtbf_lower_h=lower,
        mtbf_upper_h=upper,
        mean_time_to_restoration_h=Fraction(sum(restored_s), 3600 * len(restored_s)) if restored_s else None,
    )


def mtbf_bounds_h(operating_h: float, failure_count: int, confidence: float = 0.9) -> tuple[float | None, float | None]:
    """Give two-sided bounds on the mean operating time between failures at a constant failure rate.

    Parameters
    ----------
    operating_h : float
        Operating hours; the count ended by time, not with a failure.
    failure_count : int
    confidence : float
        Between 0 and 1.

    Returns
    -------
    tuple[float or None, float or None]
        Lower and upper bound in hours. Without operating time both are None, without failures the upper one is.

    Raises
    ------
    ValueError
        If the count is negative or the confidence outside 0 to 1.

    Notes
    -----
    2 T / chi2(1 - tail; 2 r + 2) and 2 T / chi2(tail; 2 r). A chi-square quantile with an even number of degrees of
    freedom is twice the Poisson mean at which that tail is met.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.1.
    """
    if failure_count < 0:
        raise ValueError(f"failure count {failure_count} is negative")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence {confidence} is outside 0 to 1")
    if operating_h <= 0:
        return None, None
    tail = (1 - confidence) / 2
    lower = operating_h / poisson_mean(failure_count, tail)
    upper = operating_h / poisson_mean(failure_count - 1, 1 - tail) if failure_count else None
    return lower, upper
