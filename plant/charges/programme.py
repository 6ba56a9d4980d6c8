"""The charges of one kiln as they stand in time: read and locked together, and given other times at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format

from plant import clock
from plant.basics.sentences import Sentence
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.calculations.told import ChargeTimes, Span
from plant.charges.rows import phases_in_order
from plant.models import Change, Charge, Kiln, Phase, User

Basis = Charge.Basis
# Where charges wait in the table while their times are exchanged: two of a kiln may never share time.
ASIDE = timedelta(days=365 * 300)
# A charge that came out longer ago than this has nothing to do with those of today.
LONGEST = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class Stand:
    """Where a charge stands in time."""

    basis: str
    times: ChargeTimes

    def as_json(self) -> dict[str, Any]:
        """Return it as the ledger keeps it."""
        times = self.times
        return {
            "basis": self.basis,
            "begin_at": utc(times.begin_at),
            "end_at": utc(times.end_at),
            "phases": [[str(one.kind), utc(one.begin_at), utc(one.end_at)] for one in times.spans],
        }

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> "Stand":
        """Return what the ledger keeps."""
        spans = tuple(
            Span(PhaseKind(kind), datetime.fromisoformat(begin), datetime.fromisoformat(end))
            for kind, begin, end in kept["phases"]
        )
        begin_at, end_at = (datetime.fromisoformat(kept[name]) for name in ("begin_at", "end_at"))
        return cls(kept["basis"], ChargeTimes(begin_at, end_at, spans))

    @property
    def brief(self) -> dict[str, str]:
        """Return it as the history of the charge says it."""
        return {"state": self.basis, "begin_at": utc(self.times.begin_at), "end_at": utc(self.times.end_at)}


def stand_of(charge: Charge) -> Stand:
    """Return where a charge stands."""
    rows = phases_in_order(charge)
    spans = tuple(Span(PhaseKind(row.kind), row.begin_at, row.end_at) for row in rows)
    return Stand(basis_of(charge, clock.now()), ChargeTimes(charge.begin_at, charge.end_at, spans))


def basis_of(charge: Charge, now: datetime) -> str:
    """Return what a charge is now; one that a file calls running before it begins is planned until then."""
    is_to_come = charge.basis == Basis.RUNNING and charge.begin_at > now
    return str(Basis.PLANNED if is_to_come else charge.basis)


class Programme:
    """The charges of one kiln, locked: where each stood on record (``were``), and from where it is reckoned."""

    def __init__(self, kiln: Kiln, since_at: datetime | None = None) -> None:
        self.kiln = kiln
        near = ~Q(basis=Basis.DONE) | Q(end_at__gt=(since_at or clock.now()) - LONGEST)
        rows = Charge.objects.select_for_update().filter(near, kiln=kiln).prefetch_related("phases")
        self.charges = {one.pk: one for one in rows.order_by("begin_at")}
        for one in self.charges.values():
            one.kiln = kiln
        self.were = {pk: stand_of(one) for pk, one in self.charges.items()}
        self.stands = dict(self.were)

    def standing(self, *bases: str, but: int | None = None) -> list[tuple[Charge, Stand]]:
        """Return the charges of some bases with where they stand, by begin; without the one of an id."""
        found = [(one, self.stands[pk]) for pk, one in self.charges.items() if pk != but]
        return sorted((pair for pair in found if pair[1].basis in bases), key=lambda pair: pair[1].times.begin_at)

    def take(self, times: Mapping[int, ChargeTimes]) -> list[Charge]:
        """Let charges stand at other times; return those that stand elsewhere now, in the order given."""
        moved = [pk for pk, one in times.items() if one != self.stands[pk].times]
        self.stands |= {pk: Stand(self.stands[pk].basis, times[pk]) for pk in moved}
        return [self.charges[pk] for pk in moved]

    @property
    def changed(self) -> list[Charge]:
        """The charges that stand elsewhere than on record."""
        return [one for pk, one in self.charges.items() if self.stands[pk] != self.were[pk]]

    def write(self) -> list[Charge]:
        """Give the charges that stand elsewhere their times, and return them."""
        changed = self.changed
        write([(one, self.stands[one.pk]) for one in changed])
        return changed

    def record(
        self,
        charges: Iterable[Charge],
        act: str,
        *,
        by: User | None,
        note: str = "",
        said: Sentence | Iterable[Sentence] = (),
    ) -> None:
        """Put on record from where to where charges went."""
        for one in charges:
            before, after = self.were[one.pk].brief, self.stands[one.pk].brief
            Change.record(one, act, by=by, before=before, after=after, note=note, said=said)


def write(stands: Sequence[tuple[Charge, Stand]]) -> None:
    """Give charges of one kiln their times; on the way there they stand far aside of one another."""
    for charge in sorted((charge for charge, _stand in stands), key=lambda one: one.begin_at, reverse=True):
        Charge.objects.filter(pk=charge.pk).update(begin_at=charge.begin_at + ASIDE, end_at=charge.end_at + ASIDE)
    phases = []
    for charge, stand in stands:
        times = stand.times
        charge.basis, charge.begin_at, charge.end_at = stand.basis, times.begin_at, times.end_at
        charge.save(update_fields=["basis", "begin_at", "end_at"])
        spans = {str(span.kind): span for span in times.spans}
        for phase in charge.phases.all():
            phase.begin_at, phase.end_at = spans[phase.kind].begin_at, spans[phase.kind].end_at
            phases.append(phase)
    Phase.objects.bulk_update(phases, ["begin_at", "end_at"])


def utc(at: datetime) -> str:
    """Write an instant in one way, so that what is kept can be compared."""
    return at.astimezone(UTC).isoformat()


def say_at(at: datetime) -> str:
    """Say an instant as refusals do."""
    return date_format(timezone.localtime(at), "D j M H:i")
