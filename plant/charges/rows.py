"""What the availability report reads: a fixed number of queries, however many kilns and records there are."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Exists, Min, OuterRef, Q

from plant.basics.periods import to_epoch_s
from plant.charges.calculations.charge_phases import RUNNING_PHASES, PhaseKind, PhaseRow
from plant.charges.calculations.downtime import WHOLE
from plant.charges.calculations.drying_loss import Product
from plant.models import Charge, Downtime, Kiln, Phase

RATE_HISTORY = timedelta(days=365)
"""How far back from the end of the report charges tell what a kiln dries in an hour. The length is ours."""

NEXT_CHARGE = timedelta(days=60)
"""How far after the report the charge is looked for that a kiln was waiting for at its end."""

WORKING_ORDER = [str(kind) for kind in PhaseKind]


@dataclass(frozen=True, slots=True)
class DowntimeLine:
    """One record of downtime with what it was about."""

    key: int
    kiln_tag: str
    kind: Downtime.Kind
    start_at: datetime
    end_at: datetime | None
    share_lost: Decimal
    component: str
    component_kind: str
    failure_mode: str
    cause: str

    @property
    def share_lost_thousandths(self) -> int:
        """Share of capacity lost, in thousandths."""
        return int(self.share_lost * WHOLE)

    @property
    def reason(self) -> str:
        """Why, in the words of the record: how it failed, else its cause; empty where nobody wrote it down."""
        return self.failure_mode or self.cause


@dataclass(frozen=True, slots=True)
class ChargeLine:
    """One charge as far as the report needs it.

    ``free_at`` is when the kiln was free for it: the end of the charge before, else its own begin. ``unloaded_at`` of a
    charge that is not out is never in the past: what is overdue comes now, what has not begun its own length from now.
    """

    product: Product
    volume_m3: Decimal
    free_at: datetime
    unloaded_at: datetime
    planned_h: Decimal
    is_done: bool


@dataclass(slots=True)
class KilnRecords:
    """All that was read of one kiln; ``first_record_at`` is when its records begin, None where it has no charge."""

    kiln: Kiln
    first_record_at: datetime | None
    downtime: list[DowntimeLine] = field(default_factory=list)
    charges: list[ChargeLine] = field(default_factory=list)
    phases: list[PhaseRow] = field(default_factory=list)


def phases_in_order(charge: Charge) -> list[Phase]:
    """Return a charge's phases in the order in which a kiln goes through them."""
    return sorted(charge.phases.all(), key=lambda phase: (phase.begin_at, WORKING_ORDER.index(phase.kind)))


def read_records(
    start_at: datetime,
    until_at: datetime,
    now: datetime,
    only: Kiln | None = None,
    later: Mapping[int, timedelta] | None = None,
) -> list[KilnRecords]:
    """Read the kilns that are in use or were busy in the span, or the one given, with their records; six queries.

    ``later`` is by how much charges, by id, come out later than is on record.
    """
    history_at = min(start_at, until_at - RATE_HISTORY)
    # The charges across the ends need to be known whole, with what hindered them.
    first_at, last_at = history_at - NEXT_CHARGE, until_at + NEXT_CHARGE
    kilns = [only] if only else list(_kilns(start_at, until_at))
    begun = Charge.objects.exclude(basis=Charge.Basis.PLANNED).filter(kiln__in=kilns)
    stopped = Downtime.objects.filter(kiln__in=kilns)
    first_charges = dict(begun.order_by().values_list("kiln").annotate(Min("begin_at")))
    first_downtimes = dict(stopped.order_by().values_list("kiln").annotate(Min("start_at")))
    found = {kiln.pk: KilnRecords(kiln, _first(kiln.pk, first_charges, first_downtimes)) for kiln in kilns}
    tags = {kiln.pk: kiln.tag for kiln in kilns}
    for kiln_id, downtime in _downtime(first_at, last_at, tags):
        found[kiln_id].downtime.append(downtime)
    for kiln_id, charge in _charges(first_at, last_at, now, list(tags), later or {}):
        if charge.unloaded_at > history_at:
            found[kiln_id].charges.append(charge)
    for phase in _phases(start_at, until_at, list(tags)):
        found[phase[0]].phases.append(phase)
    return list(found.values())


def _kilns(start_at: datetime, until_at: datetime) -> Sequence[Kiln]:
    """Kilns in use, and those since given up that still worked or stood in the span."""
    charges = Charge.objects.reaching_into(start_at, until_at).filter(kiln=OuterRef("pk"))
    downtime = Downtime.objects.reaching_into(start_at, until_at).filter(kiln=OuterRef("pk"))
    busy = Exists(charges) | Exists(downtime)
    return list(Kiln.objects.filter(Q(is_active=True) | busy))


def _first(kiln_id: int, charges: dict[int, datetime], downtimes: dict[int, datetime]) -> datetime | None:
    """A mill that writes down no charges cannot be told from one whose records begin late: then nothing is known."""
    if kiln_id not in charges:
        return None
    return min(charges[kiln_id], downtimes.get(kiln_id, charges[kiln_id]))


def _downtime(start_at: datetime, until_at: datetime, tags: dict[int, str]) -> list[tuple[int, DowntimeLine]]:
    # A record that ends just where the report begins may go on in it under the same cause.
    rows = (
        Downtime.objects.reaching_into(start_at - timedelta(seconds=1), until_at)
        .filter(kiln__in=tags)
        .order_by("kiln", "start_at", "pk")
        .values_list(
            "kiln_id",
            "pk",
            "kind",
            "start_at",
            "end_at",
            "share_lost",
            "component__name",
            "component__kind__name",
            "failure_mode__name",
            "cause",
        )
    )
    return [
        (
            kiln_id,
            DowntimeLine(
                pk,
                tags[kiln_id],
                Downtime.Kind(kind),
                start_at,
                end_at,
                share,
                component or "",
                component_kind or "",
                mode or "",
                cause,
            ),
        )
        for kiln_id, pk, kind, start_at, end_at, share, component, component_kind, mode, cause in rows
    ]


def _charges(
    start_at: datetime, until_at: datetime, now: datetime, kiln_ids: list[int], later: Mapping[int, timedelta]
) -> Iterator[tuple[int, ChargeLine]]:
    rows = (
        Charge.objects.reaching_into(start_at, until_at)
        .filter(kiln__in=kiln_ids)
        .order_by("kiln", "end_at", "pk")
        .values_list(
            "kiln_id",
            "pk",
            "species",
            "thickness_mm",
            "volume_m3",
            "begin_at",
            "end_at",
            "planned_begin_at",
            "planned_end_at",
            "basis",
        )
    )
    free: dict[int, datetime] = {}
    planned = Charge.Basis.PLANNED
    for kiln_id, pk, species, thickness_mm, volume_m3, begin_at, end_at, planned_at, planned_end_at, basis in rows:
        end_at += later.get(pk, timedelta(0))
        is_done = basis == Charge.Basis.DONE and end_at <= now
        unloaded_at = end_at if is_done else max(end_at, now + (end_at - begin_at) if basis == planned else now)
        yield (
            kiln_id,
            ChargeLine(
                Product(species, thickness_mm),
                volume_m3,
                free.get(kiln_id, begin_at),
                unloaded_at,
                Decimal(to_epoch_s(planned_end_at) - to_epoch_s(planned_at)) / 3600,
                is_done,
            ),
        )
        free[kiln_id] = unloaded_at


def _phases(start_at: datetime, until_at: datetime, kiln_ids: list[int]) -> list[PhaseRow]:
    """Phases in which a kiln runs, as they happened: those of charges that are only planned have not."""
    running = Phase.objects.filter(kind__in=RUNNING_PHASES, begin_at__lt=until_at, end_at__gt=start_at)
    rows = (
        running.filter(charge__kiln__in=kiln_ids)
        .exclude(charge__basis=Charge.Basis.PLANNED)
        .order_by()
        .values_list("charge__kiln_id", "begin_at", "end_at", "kind")
    )
    return [(kiln_id, to_epoch_s(begin_at), to_epoch_s(end_at), kind) for kiln_id, begin_at, end_at, kind in rows]
