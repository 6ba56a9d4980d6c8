"""What changed at short notice about who is to lock out which kiln, compared with what each person knows of it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import zip_longest

from maintenance.models import KilnStop, ToldLockOut
from maintenance.models.querysets import SHORT_NOTICE
from plant.models import Kiln

# So long after its end a place or a lock-out is still compared: what was not done then and gets another has moved.
REMEMBERED = timedelta(days=7)
Span = tuple[datetime, datetime]
# Kiln and person.
Pair = tuple[int, int]


@dataclass(frozen=True)
class LockOutNews:
    """What a person must know of one lock-out: ``was`` is None for what is new, ``now`` for what is taken away."""

    kiln: Kiln
    was: Span | None
    now: Span | None
    is_done_by_another: bool = False

    @property
    def name(self) -> str:
        """Return what sorts it among others of the same time: before the jobs behind it."""
        return ""


def is_near(span: Span, now: datetime) -> bool:
    """Say whether a place lies within the next 48 hours, or is going on."""
    return span[0] < now + SHORT_NOTICE and span[1] > now


def compare_lock_outs(now: datetime) -> dict[int, list[LockOutNews]]:
    """Bring what is known of lock-outs in step with what stands; return person id -> what changed at short notice.

    Each accepted plan writes the lock-outs ahead anew, so they are told apart by kiln, person and time.
    """
    kilns: dict[int, Kiln] = {}
    stands: dict[Pair, dict[datetime, Span]] = defaultdict(dict)
    known: dict[Pair, dict[datetime, Span]] = defaultdict(dict)
    since_at = now - REMEMBERED
    for stop in KilnStop.objects.with_jobs().filter(lock_out_at__gte=since_at).select_related("kiln"):
        kilns[stop.kiln_id] = stop.kiln
        stands[stop.kiln_id, stop.person_id][stop.lock_out_at] = (stop.lock_out_at, stop.locked_at)
    told = ToldLockOut.objects.select_related("kiln")
    for row in told:
        kilns[row.kiln_id] = row.kiln
        known[row.kiln_id, row.person_id][row.start_at] = (row.start_at, row.end_at)
    fresh = {pair: _without(spans, known.get(pair, {})) for pair, spans in stands.items()}
    gone = {pair: _without(spans, stands.get(pair, {})) for pair, spans in known.items()}
    news: dict[int, list[LockOutNews]] = defaultdict(list)
    for pair in sorted(fresh.keys() | gone.keys()):
        kiln_id, person_id = pair
        by_another = any(spans and kiln == kiln_id and who != person_id for (kiln, who), spans in fresh.items())
        for was, span in zip_longest(gone.get(pair, []), fresh.get(pair, [])):
            if any(one is not None and is_near(one, now) for one in (was, span)):
                news[person_id].append(LockOutNews(kilns[kiln_id], was, span, by_another))
    _keep(told, stands)
    return news


def _without(spans: dict[datetime, Span], others: dict[datetime, Span]) -> list[Span]:
    return [spans[at] for at in sorted(spans.keys() - others.keys())]


def _keep(told: Iterable[ToldLockOut], stands: dict[Pair, dict[datetime, Span]]) -> None:
    """Let what is known be what stands; a lock-out that only takes longer or shorter now is no news."""
    rows = {(row.kiln_id, row.person_id, row.start_at): row for row in told}
    wanted = {(*pair, at): span for pair, spans in stands.items() for at, span in spans.items()}
    ToldLockOut.objects.filter(pk__in=[row.pk for key, row in rows.items() if key not in wanted]).delete()
    ToldLockOut.objects.bulk_create(
        (
            ToldLockOut(kiln_id=kiln, person_id=person, start_at=span[0], end_at=span[1])
            for (kiln, person, at), span in wanted.items()
            if (kiln, person, at) not in rows
        ),
        batch_size=500,
    )
