"""What a mill still needs before the software can say something true, in the order that pays."""

from collections.abc import Callable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import Part
from maintenance.models import Placement, StandingTask
from plant import clock
from plant.models import Channel, Charge, Kiln, Mill, Person, User


@dataclass(frozen=True)
class Step:
    """One thing to put on record: what is there, what it brings, and where it is done.

    ``url`` is empty where whoever asks may not do it.
    """

    name: str
    count: int
    there: str
    brings: str
    url: str
    does: str

    @property
    def is_done(self) -> bool:
        """Say whether there is at least one."""
        return self.count > 0


def steps(user: User) -> list[Step]:
    """Return what a mill needs, what pays first coming first; one query each."""

    def way(act: str, name: str) -> str:
        return reverse(name) if user.may(act) else ""

    on_shift = Person.objects.filter(is_active=True, duties__isnull=False, qualifications__isnull=False).distinct()
    mills = Mill.objects.count()
    counted: list[tuple[str, int, Callable[[int], str], str, str, str]] = [
        (
            _("The mill"),
            mills,
            lambda n: Mill.objects.current().name,
            _("Its clock, currency and units stand on every page."),
            way("edit mill", "plant:mill" if mills else "maintenance:mill-begin"),
            _("Its settings") if mills else _("Name the mill"),
        ),
        (
            _("A kiln"),
            Kiln.objects.in_use().count(),
            lambda n: ngettext("%d kiln is on record.", "%d kilns are on record.", n) % n,
            _("A few questions, and its components, points of the function check and recurring tasks are proposed."),
            way("edit kilns", "maintenance:kiln-new"),
            _("Put a kiln on record"),
        ),
        (
            _("A charge"),
            Charge.objects.filter(end_at__gt=clock.now()).count(),
            lambda n: ngettext("%d charge is in or ahead.", "%d charges are in or ahead.", n) % n,
            _("From then on it is known when each kiln runs and when it stands open: every opening follows from it."),
            way("plan charges", "plant:charge-plan"),
            _("Plan a charge"),
        ),
        (
            _("People"),
            on_shift.count(),
            lambda n: ngettext("%d person has a skill and a shift.", "%d people have a skill and a shift.", n) % n,
            _("Work is given only to those who are there and allowed to do it; locking out needs somebody who may."),
            way("edit people", "plant:people"),
            _("Go to people"),
        ),
        (
            _("What recurs"),
            StandingTask.objects.in_use().count(),
            lambda n: ngettext("%d task recurs.", "%d tasks recur.", n) % n,
            _("Work orders come by themselves: by calendar, running hours or charges."),
            way("edit recurring tasks", "maintenance:standing-task-new"),
            _("Let a task recur"),
        ),
        (
            _("A job with a place"),
            Placement.objects.count(),
            lambda n: ngettext("%d job has a place.", "%d jobs have a place.", n) % n,
            _("Each job lies in an opening between two charges, with people who may do it: the day is planned."),
            way("place work", "maintenance:openings"),
            _("Go to the openings"),
        ),
        (
            _("Parts"),
            Part.objects.count(),
            lambda n: ngettext("%d part is on record.", "%d parts are on record.", n) % n,
            _("Jobs know what they need; what runs short is told before it is missing."),
            way("edit parts", "inventory:storeroom"),
            _("Go to the stores"),
        ),
        (
            _("Readings"),
            Channel.objects.filter(is_active=True).count(),
            lambda n: ngettext("%d channel is on record.", "%d channels are on record.", n) % n,
            _("Watches find dry wicks, stuck flaps and leaking spray valves while the kiln runs."),
            way("edit sources", "plant:channels-of-kilns"),
            _("Name what is measured"),
        ),
    ]
    return [
        Step(name, count, there(count) if count else "", brings, url, does)
        for name, count, there, brings, url, does in counted
    ]
