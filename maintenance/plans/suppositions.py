"""What a plan supposes to be otherwise than on record: as it is kept with it, put into its problem, and into words.

Kept are dicts of plain values; instants and days are written as ISO 8601 has them:
``{"kind": "charge_slips", "charge": 7, "hours": 12}``, ``{"kind": "away", "person": 3, "from": …, "until": …}``,
``{"kind": "kiln_kept", "kiln": 2, "from": …, "until": …}``, ``{"kind": "part_late", "part": 5, "arrives_on": …}``.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import TextChoices
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import Part
from maintenance.frame.words import day_words, minutes_between, time_words
from maintenance.models import WorkOrder
from maintenance.orders.supply import SHELVED, missing_parts
from maintenance.placing import supposing
from maintenance.placing.problem import Problem
from maintenance.placing.supposing import (
    Away,
    ChargeSlips,
    KilnKept,
    PartLate,
    TakenUntilError,
    drying_lost_cents,
    let_go_of_pins,
)
from maintenance.plans.drawing import Drawn, person_id_of
from plant import clock
from plant.basics.sentences import Sentence, Sentences
from plant.models import Charge, Kiln, Mill, Person


class Kind(TextChoices):
    """What can be supposed."""

    CHARGE_SLIPS = "charge_slips", gettext_lazy("a charge takes longer")
    AWAY = "away", gettext_lazy("somebody is away")
    KILN_KEPT = "kiln_kept", gettext_lazy("a kiln is kept for work")
    PART_LATE = "part_late", gettext_lazy("a part comes late")


def suppose(drawn: Drawn, suppositions: Sequence[Mapping[str, Any]]) -> tuple[Drawn, Sentences]:
    """Return what was drawn as it would be, and sentences that say what was supposed; they are its first notes, too.

    Raises
    ------
    ValidationError
        for what is supposed about something that is over, unknown, or not part of the time that is planned.
    """
    supposing_ = _Supposing(drawn, Mill.objects.current())
    for one in suppositions:
        supposing_.take(one)
    return supposing_.outcome()


@dataclass
class _Supposing:
    drawn: Drawn
    mill: Mill

    def __post_init__(self) -> None:
        self.problem: Problem = self.drawn.problem
        self.said: list[Sentence] = []

    def take(self, one: Mapping[str, Any]) -> None:
        ways: dict[str, Callable[[Mapping[str, Any]], Sentences]] = {
            Kind.CHARGE_SLIPS: self._charge_slips,
            Kind.AWAY: self._away,
            Kind.KILN_KEPT: self._kiln_kept,
            Kind.PART_LATE: self._part_late,
        }
        way = ways.get(str(one.get("kind")))
        if way is None:
            raise ValidationError(_("“%(kind)s” cannot be supposed.") % {"kind": one.get("kind")}, code="kind")
        self.said += way(one)

    def outcome(self) -> tuple[Drawn, Sentences]:
        problem, loose = let_go_of_pins(self.drawn.problem, self.problem)
        if loose:
            self.said.append(Sentence.of("supposed.pins_loose", jobs=loose, count=len(loose)))
        said = tuple(self.said)
        return replace(self.drawn, problem=problem, notes=(*said, *self.drawn.notes)), said

    def _charge_slips(self, one: Mapping[str, Any]) -> Sentences:
        charge = Charge.objects.select_related("kiln").filter(pk=one["charge"]).first()
        if charge is None:
            raise ValidationError(_("The charge that is supposed to take longer is not known any more."), code="charge")
        ids = self.drawn.charge_ids.get(charge.kiln.tag, ())[:-1]
        facts = {"charge": charge.number, "kiln": charge.kiln.tag}
        if charge.pk not in ids:
            raise ValidationError(
                _("Charge %(charge)s of %(kiln)s is over, or lies behind the time that is planned.") % facts,
                code="charge",
            )
        minutes = round(float(one["hours"]) * 60)
        cents = self._change(ChargeSlips(charge.kiln.tag, _last_index(ids, charge.pk), minutes))
        return Sentence.of("supposed.charge_slips", **facts, longer_min=minutes), self._by_itself(cents)

    def _away(self, one: Mapping[str, Any]) -> Sentences:
        person = Person.objects.filter(pk=one["person"]).first()
        if person is None:
            raise ValidationError(_("The person who is supposed to be away is not known any more."), code="person")
        refs = {found.ref for found in self.problem.people if person_id_of(found.ref) == str(person.pk)}
        if not refs:
            raise ValidationError(
                _("%(name)s does not work here any more: that changes nothing.") % {"name": person.name}, code="person"
            )
        from_at, until_at = self._span(one)
        until_min = min(self._minute(until_at), self.problem.horizon_min)
        self._change(Away(frozenset(refs), self._minute(from_at), until_min))
        return (Sentence.of("supposed.away", name=person.name, from_at=from_at, until_at=until_at),)

    def _kiln_kept(self, one: Mapping[str, Any]) -> Sentences:
        kiln = Kiln.objects.filter(pk=one["kiln"]).first()
        if kiln is None or kiln.tag not in self.drawn.charge_ids:
            raise ValidationError(_("The kiln that is supposed to be kept is not in use any more."), code="kiln")
        from_at, until_at = self._span(one)
        try:
            cents = self._change(KilnKept(kiln.tag, self._minute(from_at), self._minute(until_at)))
        except TakenUntilError as taken:
            facts = {"kiln": kiln.tag, "until": time_words(self.drawn.at(taken.until_min), self.mill)}
            raise ValidationError(
                _("%(kiln)s cannot be kept then: a charge that has begun is in it until %(until)s.") % facts,
                code="kiln",
            ) from None
        said = Sentence.of("supposed.kiln_kept", kiln=kiln.tag, from_at=from_at, until_at=until_at)
        return said, self._by_itself(cents)

    def _part_late(self, one: Mapping[str, Any]) -> Sentences:
        part = Part.objects.filter(pk=one["part"]).first()
        if part is None:
            raise ValidationError(_("The part that is supposed to come late is not known any more."), code="part")
        arrives_on = date.fromisoformat(one["arrives_on"])
        orders = list(WorkOrder.objects.filter(number__in=[job.ref for job in self.problem.jobs]))
        short = missing_parts(orders)
        waiting = {order.number for order in orders if any(lack.part.pk == part.pk for lack in short.get(order.pk, []))}
        if not waiting:
            raise ValidationError(
                _("No job waits for %(part)s: when it comes changes nothing.") % {"part": part}, code="part"
            )
        arrives_at = clock.start_of_day(arrives_on + SHELVED, self.mill.zone)
        before = self.problem
        self._change(PartLate(frozenset(waiting), self._minute(arrives_at)))
        if before == self.problem:
            facts = {"part": part, "day": day_words(arrives_on)}
            raise ValidationError(_("%(part)s is not expected before %(day)s anyway.") % facts, code="part")
        return (Sentence.of("supposed.part_late", part=str(part), arrives_on=arrives_on, count=len(waiting)),)

    def _change(self, supposition: supposing.Supposition) -> int:
        """Change the problem; return what drying that loses by itself."""
        before = self.problem
        try:
            self.problem = supposing.suppose(before, supposition)
        except TakenUntilError:
            raise
        except ValueError:
            raise ValidationError(_("What is supposed lies outside the time that is planned."), code="time") from None
        return drying_lost_cents(before, self.problem)

    def _by_itself(self, cents: int) -> Sentence:
        return Sentence.of("supposed.loses", loss_cents=cents) if cents > 0 else Sentence.of("supposed.taken_up")

    def _span(self, one: Mapping[str, Any]) -> tuple[datetime, datetime]:
        from_at, until_at = datetime.fromisoformat(one["from"]), datetime.fromisoformat(one["until"])
        if until_at <= max(from_at, self.drawn.base_at):
            raise ValidationError(_("The time that is supposed is over, or ends before it begins."), code="time")
        if self._minute(from_at) >= self.problem.horizon_min:
            raise ValidationError(_("What is supposed lies behind the time that is planned."), code="time")
        return from_at, until_at

    def _minute(self, at: datetime) -> int:
        return minutes_between(self.drawn.base_at, at)


def _last_index(ids: Sequence[int | None], charge_id: int) -> int:
    """Return the last piece of a charge: a charge that stands for a while takes longer after that."""
    return max(index for index, one in enumerate(ids) if one == charge_id)
