"""The sources of readings as their pages show them: when each was last heard, and what it brought."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.models import FileIntake, ReadingSource

# A logger that brings a file a day is not silent over night.
SILENT_AFTER = timedelta(hours=36)


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A source with its last file, whether it fell silent, and how many files of it wait for somebody."""

    source: ReadingSource
    intake: FileIntake | None
    is_silent: bool


def all_sources() -> QuerySet[ReadingSource]:
    """Return the sources, those in use first, each with the id of its last file and its number of names."""
    last = FileIntake.objects.filter(source=OuterRef("pk")).order_by("-at", "-id").values("pk")[:1]
    return ReadingSource.objects.annotate(last_intake=Subquery(last), name_count=Count("names")).order_by(
        "-is_active", "name"
    )


def rows_of(sources: Iterable[ReadingSource], now: datetime) -> list[SourceRow]:
    """Return the rows; one query for the files."""
    known = list(sources)
    intakes = FileIntake.objects.in_bulk([pk for one in known if (pk := getattr(one, "last_intake", None))])
    return [SourceRow(one, intakes.get(getattr(one, "last_intake", None) or 0), is_silent(one, now)) for one in known]


def is_silent(source: ReadingSource, now: datetime) -> bool:
    """Say whether a source in use was heard once and has not been for long."""
    return source.is_active and source.last_heard_at is not None and now - source.last_heard_at > SILENT_AFTER


def sentence(now: datetime) -> str:
    """Say in one sentence how the sources are."""
    before = now - SILENT_AFTER
    used = ReadingSource.objects.filter(is_active=True)
    counts = used.aggregate(
        all=Count("pk"),
        silent=Count("pk", filter=Q(last_heard_at__lte=before)),
        never=Count("pk", filter=Q(last_heard_at__isnull=True)),
    )
    if not counts["all"]:
        return _("No source of readings is in use yet.")
    parts = [ngettext("%d source is in use.", "%d sources are in use.", counts["all"]) % counts["all"]]
    if counts["silent"]:
        words = ngettext(
            "%d has been silent for a day and a half.", "%d have been silent for a day and a half.", counts["silent"]
        )
        parts.append(words % counts["silent"])
    if counts["never"]:
        words = ngettext("%d was never heard.", "%d were never heard.", counts["never"])
        parts.append(words % counts["never"])
    return " ".join(parts)
