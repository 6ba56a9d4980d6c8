"""What many rows of the plant can answer."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Subquery

if TYPE_CHECKING:
    from plant.models import (  # noqa: F401
        Absence,
        Change,
        Charge,
        ChargeWord,
        Component,
        Downtime,
        Kiln,
        MeterReading,
        Person,
        ReadingSource,
    )

# For so long after it came out, what was told of a charge is at hand to be put right.
LATELY = timedelta(days=3)


class KilnQuerySet(models.QuerySet["Kiln"]):
    """Kilns."""

    def in_use(self) -> "KilnQuerySet":
        """Only kilns that are in use."""
        return self.filter(is_active=True)


class ComponentQuerySet(models.QuerySet["Component"]):
    """Components."""

    def in_use(self) -> "ComponentQuerySet":
        """Only components that are in use."""
        return self.filter(is_active=True)


class ChargeQuerySet(models.QuerySet["Charge"]):
    """Charges."""

    def reaching_into(self, start_at: datetime, end_at: datetime) -> "ChargeQuerySet":
        """Charges that share time with a span."""
        return self.filter(begin_at__lt=end_at, end_at__gt=start_at)

    def at(self, moment: datetime) -> "ChargeQuerySet":
        """Charges that occupy their kiln at an instant."""
        return self.filter(begin_at__lte=moment, end_at__gt=moment)

    def lately(self, kilns: "Collection[Kiln]", now: datetime) -> "ChargeQuerySet":
        """Charges that are in kilns or to come, and those that came out in the last three days; by begin."""
        is_here = ~Q(basis="done") | Q(end_at__gt=now - LATELY)
        return self.filter(is_here, kiln__in=kilns).order_by("begin_at")

    def with_what_was_told(self) -> "ChargeQuerySet":
        """Each with what was told of it, as ``plant/charges/record.py`` reads it."""
        from plant.models.charges import ChargeWord

        words = ChargeWord.objects.that_count().filter(charge=OuterRef("pk"))
        opened = words.filter(what="opened").order_by("-id")
        expected = words.filter(what="expected").order_by("-id")
        denied = ChargeWord.objects.that_count().filter(
            charge=OuterRef("charge"), what="not_begun", id__gt=OuterRef("id")
        )
        # What no person told and no person told anything after; that a kiln was started counts whoever says so.
        later = ChargeWord.objects.that_count().by_people().filter(charge=OuterRef("charge"), id__gt=OuterRef("id"))
        unheard = words.filter(~Exists(later), by_source__isnull=False).exclude(what="started").order_by("id")
        return self.annotate(
            opened_at=Subquery(opened.values("at")[:1]),
            expected_told_at=Subquery(expected.values("told_at")[:1]),
            is_start_told=Exists(words.filter(~Exists(denied), what="started")),
            opened_by_people_at=Subquery(opened.by_people().values("at")[:1]),
            end_told_by_people_at=Subquery(expected.by_people().values("told_at")[:1]),
            stood_by_people=Subquery(unheard.values("before")[:1]),
            ends_by_programme=F("kiln__mill__charges_end_by_programme"),
        )


class ChargeWordQuerySet(models.QuerySet["ChargeWord"]):
    """What was told of charges."""

    def that_count(self) -> "ChargeWordQuerySet":
        """Without what was corrected or taken back, and without the taking back itself; in the order of the telling."""
        return self.filter(corrected_by__isnull=True).exclude(what="taken_back").select_related("by__person", "charge")

    def by_people(self) -> "ChargeWordQuerySet":
        """Only what a person told, not readings and not another program."""
        return self.filter(by_source__isnull=True)


class DowntimeQuerySet(models.QuerySet["Downtime"]):
    """Times in which a kiln was down."""

    def reaching_into(self, start_at: datetime, end_at: datetime) -> "DowntimeQuerySet":
        """Records that share time with a span, still open ones included."""
        return self.filter(Q(end_at__isnull=True) | Q(end_at__gt=start_at), start_at__lt=end_at)

    def still_open(self) -> "DowntimeQuerySet":
        """Records without an end."""
        return self.filter(end_at__isnull=True)

    def stops_at(self, moment: datetime) -> "DowntimeQuerySet":
        """Records by which a kiln cannot dry at an instant."""
        going_on = self.reaching_into(moment, moment + timedelta(seconds=1))
        return going_on.filter(share_lost=1).exclude(kind="no_timber").order_by("start_at")


class MeterReadingQuerySet(models.QuerySet["MeterReading"]):
    """Readings of running-hours meters."""


class PersonQuerySet(models.QuerySet["Person"]):
    """People."""

    def working_here(self) -> "PersonQuerySet":
        """Only people who work here now."""
        return self.filter(is_active=True)

    def qualified(self, skill_code: str, day: date) -> "PersonQuerySet":
        """People whose qualification counts on a day."""
        valid = Q(qualifications__valid_until__isnull=True) | Q(qualifications__valid_until__gte=day)
        return self.filter(valid, qualifications__skill__code=skill_code).distinct()


class ChangeQuerySet(models.QuerySet["Change"]):
    """Entries of the history."""

    def about(self, subject: Any) -> "ChangeQuerySet":
        """Entries about one object, oldest first."""
        return self.filter(subject_kind=subject._meta.label_lower, subject_key=str(subject.pk)).select_related(
            "by__person"
        )


class ReadingSourceQuerySet(models.QuerySet["ReadingSource"]):
    """Sources of readings."""

    def listening(self) -> "ReadingSourceQuerySet":
        """Keep those in use that listen to a broker."""
        return self.filter(way="broker", is_active=True).exclude(broker_host="").exclude(broker_topic="")
