"""Until when stops that go on may last, from what was said and from such stops on record."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime, timedelta
from decimal import Decimal

from plant.charges.calculations import downtime
from plant.charges.calculations.lasting import Lasting, lasting
from plant.models import Downtime

#: So far back stops tell how long others last; the length is ours.
LOOK_BACK = timedelta(days=3 * 365)


def downtime_times(record: Downtime, until: Lasting | None = None) -> downtime.Downtime:
    """Return a downtime as the computations know it."""
    return downtime.Downtime(
        record.kiln_id,
        record.start_at,
        record.end_at,
        downtime.DowntimeKind(record.kind),
        int(Decimal(record.share_lost) * downtime.WHOLE),
        record.cause,
        until.end_at if until else None,
        until.sd_h if until else 0.0,
        record.charge_end_unknown_at,
    )


def expected_ends(records: Iterable[Downtime], now: datetime) -> dict[int, Lasting]:
    """Return id -> until when it may last, of the stops among records that go on; one query where nobody said."""
    going_on = [one for one in records if one.end_at is None and one.start_at <= now and one.is_stop]
    others = _Others(now) if any(one.expected_end_at is None for one in going_on) else None
    return {
        one.pk: lasting(one.start_at, now, one.expected_end_at, others.like(one) if others else ()) for one in going_on
    }


def as_expected(records: Iterable[Downtime], now: datetime) -> list[downtime.Downtime]:
    """Return records as the computations know them, each stop that goes on with its expected end."""
    records = list(records)
    ends = expected_ends(records, now)
    return [downtime_times(record, ends.get(record.pk)) for record in records]


def standing_spans(
    kiln_ids: Collection[int], from_at: datetime, until_at: datetime, now: datetime
) -> dict[int, list[tuple[datetime, datetime]]]:
    """Return kiln id -> from when to when it stands within a span, as far as is known; two queries at most."""
    found: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    records = Downtime.objects.filter(kiln__in=kiln_ids).reaching_into(from_at, until_at)
    for one in as_expected(records.select_related("component"), now):
        if one.is_stop and one.until_at is not None:
            found[one.kiln_id].append((one.start_at, one.until_at))
    return found


class _Others:
    """How long stops on record lasted, by their kind, way of failing and kind of component."""

    def __init__(self, now: datetime) -> None:
        over = Downtime.objects.filter(
            end_at__isnull=False, end_at__lte=now, start_at__gt=now - LOOK_BACK, share_lost=1
        )
        columns = ("kind", "failure_mode_id", "component__kind_id", "start_at", "end_at")
        self.rows = [
            (kind, mode, part, end_at - start_at)
            for kind, mode, part, start_at, end_at in over.exclude(kind=Downtime.Kind.NO_TIMBER).values_list(*columns)
        ]

    def like(self, one: Downtime) -> list[list[timedelta]]:
        """Return the lengths of others: of those that failed alike, of the same kind of component, of all."""
        part = one.component.kind_id if one.component else None
        of_kind = [row for row in self.rows if row[0] == one.kind]
        groups = []
        if one.failure_mode_id is not None:
            groups.append([length for _kind, mode, _part, length in of_kind if mode == one.failure_mode_id])
        if part is not None:
            groups.append([length for _kind, _mode, its_part, length in of_kind if its_part == part])
        return [*groups, [length for *_rest, length in of_kind]]
