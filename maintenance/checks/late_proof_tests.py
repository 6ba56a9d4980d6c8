"""What fails unseen and was not proved in time, or never, or soon must be: said aloud."""

from datetime import date, timedelta

from django.db.models import F, OuterRef, Subquery

from maintenance.frame.shouts import Shout
from maintenance.models import ProofTest, TaskSheet
from plant.basics.sentences import Sentence
from plant.models import Component

# A proof test that falls due within so many days is worth a word.
NOTICE_DAYS = 14


def late_proof_tests(day: date) -> list[Shout]:
    """Name what fails unseen and was not proved in time, or never, or soon must be."""
    kinds = TaskSheet.objects.filter(is_proof_test=True).values("kind")
    components = Component.objects.in_use().filter(kiln__is_active=True, kind__in=kinds)
    latest = ProofTest.objects.filter(component=OuterRef("pk")).order_by("-tested_at", "-id")
    rows = (
        components.annotate(
            next_due_on=Subquery(latest.values("next_due_on")[:1]), outcome=Subquery(latest.values("outcome")[:1])
        )
        .order_by(F("next_due_on").asc(nulls_first=True), "kiln__tag", "tag")
        .values_list("kiln__tag", "name", "next_due_on", "outcome")
    )
    never, failed, late, soon = [], [], [], []
    for tag, name, next_due_on, outcome in rows:
        what = f"{tag} {name}"
        if next_due_on is None:
            never.append(what)
        elif outcome == ProofTest.Outcome.FAILED:
            failed.append(what)
        elif next_due_on < day:
            late.append(Sentence.of("proof.due", what=what, due_on=next_due_on))
        elif next_due_on <= day + timedelta(days=NOTICE_DAYS):
            soon.append(Sentence.of("proof.due", what=what, due_on=next_due_on))
    found = (
        ("alarm", Sentence.of("proof.failed", components=failed), failed),
        ("alarm", Sentence.of("proof.overdue", components=late), late),
        ("alarm", Sentence.of("proof.never", components=never), never),
        ("mind", Sentence.of("proof.soon", components=soon), soon),
    )
    return [Shout(level, said) for level, said, named in found if named]
