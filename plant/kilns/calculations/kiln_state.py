"""The state of a kiln at any instant, since when and until when, and what can be checked in it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from plant.basics.periods import to_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES, Phase
from plant.charges.calculations.downtime import WHOLE, DeratingRule, Downtime, DowntimeKind


class KilnState(StrEnum):
    """What a kiln is doing. The first six bear the names of the charge's phases."""

    LOADING = "loading"
    HEATING_UP = "heating_up"
    DRYING = "drying"
    CONDITIONING = "conditioning"
    COOLING = "cooling"
    UNLOADING = "unloading"
    WAITING_LOADED = "waiting_loaded"
    OPEN_AND_EMPTY = "open_and_empty"
    NO_RECORD = "no_record"
    """No charge is on record up to then: what is in the kiln is not known."""
    NO_TIMBER = "no_timber"
    PLANNED_DOWN = "planned_down"
    STOPPED = "stopped"


class CheckState(StrEnum):
    """State a kiln must be in for a check point or a job."""

    RUNNING = "running"
    OPEN_AND_EMPTY = "open_and_empty"
    STILL = "still"
    """Locked out against starting; may stay loaded."""


@dataclass(frozen=True, slots=True)
class StateAt:
    """A kiln's state at an instant.

    ``since_at`` and ``until_at`` bound the stretch in which the state stays the same; None where no record says.
    An open record has no known end. ``capacity_thousandths`` is what is left of the capacity: 0 while it stands
    still. ``charge_id`` is the charge in the kiln, ``cause`` that of the stop.
    """

    state: KilnState
    since_at: datetime | None
    until_at: datetime | None
    capacity_thousandths: int
    charge_id: int | None
    cause: str = ""

    @property
    def is_loaded(self) -> bool:
        """Whether timber stands in the kiln, wholly or in part."""
        return self.charge_id is not None

    @property
    def check_states(self) -> frozenset[CheckState]:
        """Which points can be looked at now.

        A kiln is still only once it is locked out: the word here means that locking it out takes nothing from a
        charge. While timber moves in or out, vehicles do too, and nothing is offered.
        """
        if self.state in _RUNNING_STATES:
            return frozenset({CheckState.RUNNING})
        if self.state in _STANDING_STATES:
            return frozenset({CheckState.STILL} if self.is_loaded else {CheckState.STILL, CheckState.OPEN_AND_EMPTY})
        return frozenset()


_RUNNING_STATES = frozenset(KilnState(kind.value) for kind in RUNNING_PHASES)
_STANDING_STATES = frozenset(
    {
        KilnState.WAITING_LOADED,
        KilnState.OPEN_AND_EMPTY,
        KilnState.NO_RECORD,
        KilnState.NO_TIMBER,
        KilnState.PLANNED_DOWN,
        KilnState.STOPPED,
    }
)


def state_at(
    at: datetime,
    phases: Iterable[Phase],
    downtime: Iterable[Downtime],
    rule: DeratingRule = DeratingRule.ADDITIVE,
) -> StateAt:
    """Tell what state one kiln is in at an instant.

    Parameters
    ----------
    at : datetime
        Now, or any other instant.
    phases : Iterable[Phase]
        Of the kiln's charges, past, under way or expected, in any order.
    downtime : Iterable[Downtime]
        Of the same kiln, in any order.
    rule : DeratingRule
        How deratings at the same time go together.

    Returns
    -------
    StateAt

    Raises
    ------
    ValueError
        If the instant has no time zone.

    Notes
    -----
    Order of priority: stopped, planned down, stopped by a cause outside the kiln, the phase of the charge, waiting
    loaded (between two phases of one charge), no timber, then open and empty after a charge and "no record" before
    the first one: nothing says what is in the kiln then. Timber in the kiln outweighs a record that there was none.
    Of phases that overlap, which only faulty records do, the later start wins. Records are half-open: at its end
    one is over.
    """
    instant_s = to_epoch_s(at)
    timeline = _Timeline(list(phases), list(downtime))
    here = timeline.facts(instant_s)
    since_s, until_s = timeline.bounds(instant_s, here.state)
    return StateAt(
        here.state,
        timeline.instants.get(since_s) if since_s is not None else None,
        timeline.instants.get(until_s) if until_s is not None else None,
        0 if here.state in (KilnState.STOPPED, KilnState.PLANNED_DOWN) else WHOLE - timeline.lost(instant_s, rule),
        here.charge_id,
        here.cause,
    )


@dataclass(frozen=True, slots=True)
class _Facts:
    state: KilnState
    charge_id: int | None
    cause: str


class _Timeline:
    """Phases, stays of charges and downtime as (start s, end s or None, what) for one kiln."""

    def __init__(self, phases: Sequence[Phase], downtime: Sequence[Downtime]) -> None:
        self.instants: dict[int, datetime] = {}
        self.phases = [(*self._span(p.start_at, p.end_at), p) for p in sorted(phases, key=lambda p: p.start_at)]
        self.downtime = [(*self._span(d.start_at, d.end_at), d) for d in downtime]
        self.stays = self._stays()

    def _span(self, start_at: datetime, end_at: datetime | None) -> tuple[int, int | None]:
        start_s = to_epoch_s(start_at)
        self.instants.setdefault(start_s, start_at)
        if end_at is None:
            return start_s, None
        end_s = to_epoch_s(end_at)
        self.instants.setdefault(end_s, end_at)
        return start_s, end_s

    def _stays(self) -> list[tuple[int, int | None, int]]:
        """List from when to when each charge is in the kiln, gaps between its phases included."""
        stays: dict[int, tuple[int, int | None]] = {}
        for start_s, end_s, phase in self.phases:
            first_s, last_s = stays.get(phase.charge_id, (start_s, start_s))
            stays[phase.charge_id] = first_s, None if last_s is None or end_s is None else max(last_s, end_s)
        return [(first_s, last_s, charge_id) for charge_id, (first_s, last_s) in stays.items()]

    def facts(self, at_s: int) -> _Facts:
        phase = next((p for start_s, end_s, p in reversed(self.phases) if _holds(start_s, end_s, at_s)), None)
        stay = max((s for s in self.stays if _holds(s[0], s[1], at_s)), key=lambda s: s[0], default=None)
        charge_id = phase.charge_id if phase else stay[2] if stay else None
        active = [d for start_s, end_s, d in self.downtime if _holds(start_s, end_s, at_s)]
        for kind, state in STOPS:
            stops = [d for d in active if d.kind is kind and d.is_stop]
            if stops:
                return _Facts(state, charge_id, min(stops, key=lambda d: d.start_at).cause)
        if phase is not None:
            return _Facts(KilnState(phase.kind.value), charge_id, "")
        if stay is not None:
            return _Facts(KilnState.WAITING_LOADED, charge_id, "")
        is_without_timber = any(d.kind is DowntimeKind.NO_TIMBER for d in active)
        if is_without_timber:
            return _Facts(KilnState.NO_TIMBER, None, "")
        had_charge = any(start_s <= at_s for start_s, _end_s, _phase in self.phases)
        return _Facts(KilnState.OPEN_AND_EMPTY if had_charge else KilnState.NO_RECORD, None, "")

    def bounds(self, at_s: int, state: KilnState) -> tuple[int | None, int | None]:
        """Walk from change to change, both ways, while the state stays the same."""
        earlier = sorted((s for s in self.instants if s <= at_s), reverse=True)
        # The stretch before a change is known by its last second.
        since_s = next((s for s in earlier if self.facts(s - 1).state is not state), None)
        until_s = next(
            (s for s in sorted(s for s in self.instants if s > at_s) if self.facts(s).state is not state), None
        )
        return since_s, until_s

    def lost(self, at_s: int, rule: DeratingRule) -> int:
        """Give the share of capacity lost to deratings, in thousandths."""
        shares = [
            d.share_lost_thousandths
            for start_s, end_s, d in self.downtime
            if d.kind is not DowntimeKind.NO_TIMBER and _holds(start_s, end_s, at_s)
        ]
        return max(shares, default=0) if rule is DeratingRule.DOMINANT else min(sum(shares), WHOLE)


STOPS = (
    (DowntimeKind.UNPLANNED, KilnState.STOPPED),
    (DowntimeKind.PLANNED, KilnState.PLANNED_DOWN),
    (DowntimeKind.EXTERNAL, KilnState.STOPPED),
)


def _holds(start_s: int, end_s: int | None, at_s: int) -> bool:
    return start_s <= at_s and (end_s is None or at_s < end_s)
