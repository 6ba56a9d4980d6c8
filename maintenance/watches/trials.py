"""Trials of a watch on the past as background work: what is asked for, how it is kept, and how it is shown."""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from django.utils.translation import gettext as _

from maintenance.models import Watch
from maintenance.watches.calculations.rows import rule_from, rule_parameters
from maintenance.watches.specs import spec_of
from maintenance.watches.trial import TrialResult, try_on_past
from plant.background.queueing import enqueue
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import to_json
from plant.models import Charge, Job, User

TRY_TASK: Final = "try a watch on the past"
MOST_KEPT: Final = 200
"""So many firings of a trial are kept; a watch that fires more often is of no use as it stands."""
APART: Final = 2.2
"""Marks closer than this, in per cent of the strip, stand below one another."""


def want_trial(watch: Watch, days: int, parameters: Mapping[str, Any], *, by: User, now: datetime) -> Job:
    """Ask for a trial with other numbers beside the watch's own; the same within a quarter of an hour is asked once."""
    asked = json.dumps(dict(parameters), sort_keys=True)
    digest = hashlib.sha256(asked.encode()).hexdigest()[:16]
    key = f"trial {watch.pk} v{watch.version} {days} d {digest} {to_epoch_s(now) // 900}"
    return enqueue(TRY_TASK, key, {"watch": watch.pk, "days": days, "parameters": asked}, by=by)


def run_trial(
    watch: Watch, days: int, parameters: Mapping[str, Any], progress: Callable[[int, int], None] | None = None
) -> dict[str, Any]:
    """Try a watch as it stands, and with other numbers where these differ; return what is kept with the job."""
    spec = spec_of(watch)
    changed = replace(spec, rule=rule_from(spec.rule_name, parameters))
    specs = [spec] if changed == spec else [spec, changed]
    sides = []
    for done, one in enumerate(specs):
        if progress is not None:
            progress(done, len(specs))
        sides.append(_kept(try_on_past(watch, spec=one, days=days)))
    return {"sides": sides, "parameters": rule_parameters(changed.rule)}


def _kept(result: TrialResult) -> dict[str, Any]:
    return {
        "from_s": to_epoch_s(result.from_at),
        "until_s": to_epoch_s(result.until_at),
        "known_share": result.known_share,
        "count": len(result.raised),
        "right": result.right,
        "work_orders": result.work_orders,
        "raised": [
            {
                "begin_s": to_epoch_s(one.begin_at),
                "end_s": to_epoch_s(one.end_at) if one.end_at else None,
                "sentence": to_json(one.sentence),
                "proof": one.proof if one.is_right else "",
            }
            for one in result.raised[:MOST_KEPT]
        ],
        "missed": [{"at_s": to_epoch_s(one.at), "what": one.what} for one in result.missed],
    }


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark of the strip; ``left`` in per cent, ``lane`` from above; ``kind`` is right, unproved or missed."""

    number: int
    left: float
    lane: int
    kind: str
    at: datetime
    end_at: datetime | None
    #: As it is kept: sentences as JSON, text of earlier versions and what somebody typed as it is.
    said: Mapping[str, Any] | str
    proof: str


@dataclass(frozen=True, slots=True)
class ChargePiece:
    """A charge on the strip, in per cent."""

    left: float
    width: float
    number: str


@dataclass(frozen=True, slots=True)
class Side:
    """What came of a trial with one set of numbers."""

    title: str
    from_at: datetime
    until_at: datetime
    known_share: float | None
    count: int
    right: int
    work_orders: int
    marks: tuple[Mark, ...]
    charges: tuple[ChargePiece, ...]

    @property
    def unproved(self) -> int:
        """Return how many firings no record bears out."""
        return self.count - self.right

    @property
    def missed(self) -> int:
        """Return how much on record no firing announced."""
        return sum(mark.kind == "missed" for mark in self.marks)

    @property
    def left_out(self) -> int:
        """Return how many firings were not kept one by one."""
        return self.count - sum(mark.kind != "missed" for mark in self.marks)

    @property
    def lanes(self) -> int:
        """Return how many rows the marks take."""
        return max((mark.lane for mark in self.marks), default=0) + 1


def sides_of(watch: Watch, result: Mapping[str, Any]) -> list[Side]:
    """Turn what a trial kept into its two sides; one query."""
    kept = result["sides"]
    if not kept:
        return []
    first_at, last_at = from_epoch_s(kept[0]["from_s"]), from_epoch_s(kept[0]["until_s"])
    charges = list(
        Charge.objects.filter(
            kiln=watch.kiln_id,
            begin_at__lt=last_at,
            end_at__gt=first_at,
            basis__in=[Charge.Basis.RUNNING, Charge.Basis.DONE],
        ).order_by("begin_at")
    )
    titles = (_("As it stands"), _("With these numbers"))
    return [_side(title, one, charges) for title, one in zip(titles, kept, strict=False)]


def _side(title: str, kept: Mapping[str, Any], charges: list[Charge]) -> Side:
    from_s, until_s = int(kept["from_s"]), int(kept["until_s"])

    def share(at_s: int) -> float:
        return round(100 * min(max((at_s - from_s) / (until_s - from_s), 0.0), 1.0), 2)

    pieces = []
    for charge in charges:
        left, right = share(to_epoch_s(charge.begin_at)), share(to_epoch_s(charge.end_at))
        pieces.append(ChargePiece(left, round(right - left, 2), charge.number))
    return Side(
        title=title,
        from_at=from_epoch_s(from_s),
        until_at=from_epoch_s(until_s),
        known_share=kept["known_share"],
        count=kept["count"],
        right=kept["right"],
        work_orders=kept["work_orders"],
        marks=tuple(_marks(kept, share)),
        charges=tuple(pieces),
    )


def _marks(kept: Mapping[str, Any], share: Callable[[int], float]) -> Iterator[Mark]:
    found = [
        (one["begin_s"], one["end_s"], "right" if one["proof"] else "unproved", one["sentence"], one["proof"])
        for one in kept["raised"]
    ] + [(one["at_s"], None, "missed", one["what"], "") for one in kept["missed"]]
    lanes: list[float] = []
    for number, (at_s, end_s, kind, said, proof) in enumerate(sorted(found, key=lambda one: one[0]), start=1):
        left = share(at_s)
        lane = next((n for n, taken in enumerate(lanes) if left - taken >= APART), len(lanes)) % 4
        lanes[lane : lane + 1] = [left]
        end_at = from_epoch_s(end_s) if end_s is not None else None
        yield Mark(number, left, lane, kind, from_epoch_s(at_s), end_at, said, proof)


def is_about(job: Job, watch: Watch) -> bool:
    """Say whether a job is a trial of this watch."""
    return job.what == TRY_TASK and job.arguments.get("watch") == watch.pk
