"""In which order to take up work: safety first and apart, the rest by cost of delay per hour of work."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction

#: A safety job that nobody gave a date stands before all that have one: unknown is not safe.
NO_DATE = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Work:
    """A job to rank; `ref` is unique and decides between equals."""

    ref: str
    work_hours: float
    delay_cents_per_hour: int | Fraction = 0
    is_safety: bool = False
    safety_at: datetime | None = None


@dataclass(frozen=True)
class Ranking:
    """Safety work by date, and apart from it all other work by cost of delay per hour of work."""

    safety: tuple[Work, ...]
    other: tuple[Work, ...]


def rank_work(work: Iterable[Work]) -> Ranking:
    """Rank work by cost of delay per hour of work, safety work apart and above.

    Parameters
    ----------
    work : Iterable[Work]
        jobs in any order, each with a ref of its own

    Returns
    -------
    Ranking
        safety work by safety date, undated first; other work by falling cost of delay per hour of
        work, of equals the shorter first, then by ref

    Raises
    ------
    ValueError
        when hours or cost of a job are negative or not finite, or two jobs share a ref

    Notes
    -----
    With one crew and jobs done one after another this order costs the least total delay; proved by
    exchanging neighbours. With several crews or fixed openings it is a good rule and no proof.

    References
    ----------
    W. E. Smith, Various optimizers for single-stage production, Naval Research Logistics Quarterly 3
    (1956), 59-66.
    """
    jobs = list(work)
    if len({job.ref for job in jobs}) < len(jobs):
        raise ValueError("two jobs share a ref: each must have its own")
    for job in jobs:
        if not (math.isfinite(job.work_hours) and job.work_hours >= 0 and job.delay_cents_per_hour >= 0):
            raise ValueError(
                f"{job.ref}: work of {job.work_hours} hours at {job.delay_cents_per_hour} cents per hour "
                f"is outside 0 to infinity"
            )
    return _ranked(jobs)


def _ranked(jobs: list[Work]) -> Ranking:
    urgencies = dict(zip((job.ref for job in jobs), _urgencies(jobs), strict=True))
    safety, other = [job for job in jobs if job.is_safety], [job for job in jobs if not job.is_safety]
    safety.sort(key=lambda job: (job.safety_at or NO_DATE, urgencies[job.ref]))
    other.sort(key=lambda job: urgencies[job.ref])
    return Ranking(tuple(safety), tuple(other))


def _urgencies(jobs: list[Work]) -> Iterable[tuple[bool, int, float, str]]:
    """Yield sort keys, the most urgent first; exact, so that equal ratios tie and the ref decides.

    Hours are n / d in whole numbers and delays cents / parts, so two ratios that differ do so by at least 1
    over the product of their n x parts. Scaled by more than the square of the largest of them they differ by at least
    1, and their whole parts stand in the same order: exact fractions give the same order, many times more slowly.
    """
    hours = [job.work_hours.as_integer_ratio() for job in jobs]
    delays = [job.delay_cents_per_hour.as_integer_ratio() for job in jobs]
    below = [n * parts for (n, _d), (_cents, parts) in zip(hours, delays, strict=True)]
    scale = 2 * max((one.bit_length() for one in below), default=0)
    for job, (n, d), (cents, parts) in zip(jobs, hours, delays, strict=True):
        scaled_ratio = (cents * d << scale) // (n * parts) if n else 0
        yield n > 0, -scaled_ratio, job.work_hours, job.ref
