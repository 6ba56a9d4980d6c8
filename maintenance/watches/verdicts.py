"""Whether a watch was right: said by somebody, or shown by the work that it raised."""

from collections.abc import Collection
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import BigIntegerField, Q, QuerySet
from django.db.models.functions import Cast
from django.utils.translation import gettext as _

from maintenance.models import Defect, Finding, Firing, Watch, WorkOrder
from plant import clock
from plant.access import require
from plant.models import Change, Fitting, User
from plant.pictures.marks import FAULTS

STRUCK = "struck as a mistake"
# A defect that is found so long after a watch fired still shows that the watch was right.
PROVES_WITHIN = timedelta(days=14)
# And one that was found shortly before: the watch was only later than somebody's eyes.
FOUND_BEFORE = timedelta(days=1)


@transaction.atomic
def judge(firing: Firing, *, by: User, verdict: str, why: str = "") -> Firing:
    """Say whether a watch was right; an empty verdict takes back what was said."""
    require(by, "judge watches")
    if verdict not in Firing.Verdict.values:
        raise ValidationError(_("Say right, false, or nothing."))
    why = why.strip()
    if len(why) > 200:
        raise ValidationError(_("Say it in at most 200 characters."))
    firing = Firing.objects.select_for_update(of=("self",)).select_related("watch").get(pk=firing.pk)
    if (firing.verdict, firing.verdict_why) == (verdict, why):
        return firing
    _say(firing, verdict, why, by=by)
    return firing


def judge_by_work(order: WorkOrder, *, by: User | None, found_nothing: bool = False) -> None:
    """Judge what raised a work order by what its work found; call it in the transaction that ends the work.

    ``found_nothing`` says that somebody looked and nothing was wrong. Without it a defect, a finding or an exchange on
    the component since the watch fired speaks; where there is none, it stays open.
    """
    firings = list(
        Firing.objects.select_for_update(of=("self",))
        .not_judged()
        .filter(work_order=order)
        .select_related("watch")
        .order_by("begin_at")
    )
    if not firings:
        return
    if found_nothing:
        for firing in firings:
            _say(firing, Firing.Verdict.WRONG, _("%(number)s: nothing was wrong.") % {"number": order.number}, by=by)
        return
    defect = _defect_since(firings[0])
    why = defect.what if defect else _other_proof(firings[0], order)
    if not why:
        return
    for firing in firings:
        firing.defect = defect
        said = _("%(number)s: %(what)s") % {"number": order.number, "what": why}
        _say(firing, Firing.Verdict.RIGHT, said[:200], by=by)


def judge_by_defect(defect: Defect) -> None:
    """Let a defect that was put on record speak for the watches that suspected its component shortly before."""
    if defect.component is None:
        return
    suspected = Q(watch__component=defect.component_id) | Q(
        watch__component__isnull=True, watch__component_kind=defect.component.kind_id
    )
    firings = Firing.objects.select_for_update(of=("self",)).not_judged().filter(suspected, watch__kiln=defect.kiln_id)
    span = Q(begin_at__lte=defect.found_at) & (Q(end_at__isnull=True) | Q(end_at__gte=defect.found_at - PROVES_WITHIN))
    for firing in firings.filter(span).select_related("watch"):
        if speaks_for(defect, firing.watch.failure_modes):
            firing.defect = defect
            _say(firing, Firing.Verdict.RIGHT, _("Found: %(what)s") % {"what": defect.what}, by=None)


def take_back(defect: Defect) -> None:
    """Take back what a defect proved, because it was struck as a mistake."""
    for firing in Firing.objects.select_for_update(of=("self",)).filter(defect=defect).select_related("watch"):
        firing.defect = None
        if firing.verdict == Firing.Verdict.RIGHT and firing.judged_by_id is None:
            _say(firing, Firing.Verdict.OPEN, _("The defect was struck as a mistake."), by=None)
        else:
            firing.save(update_fields=["defect"])


def _say(firing: Firing, verdict: str, why: str, *, by: User | None) -> None:
    before = {"verdict": firing.verdict, "why": firing.verdict_why}
    firing.verdict, firing.verdict_why = verdict, why[:200]
    firing.judged_by = by
    firing.judged_at = clock.now() if verdict else None
    firing.save(update_fields=["verdict", "verdict_why", "judged_by", "judged_at", "defect"])
    after = {"verdict": str(verdict), "why": firing.verdict_why, "since": firing.begin_at.isoformat()}
    Change.record(firing.watch, "judged", by=by, before=before, after=after)


def defects_about(watch: Watch) -> QuerySet[Defect]:
    """Return the defects that what a watch suspects ever had, the first found first; struck ones are no defects."""
    own = Q(component=watch.component_id) if watch.component_id else Q(component__kind=watch.component_kind_id)
    struck = Change.objects.filter(subject_kind=Defect._meta.label_lower, act=STRUCK).annotate(
        defect=Cast("subject_key", BigIntegerField())
    )
    found = Defect.objects.filter(own, kiln=watch.kiln_id, component__isnull=False)
    return found.exclude(pk__in=struck.values("defect")).select_related("failure_mode").order_by("found_at", "pk")


def speaks_for(defect: Defect, modes: Collection[str]) -> bool:
    """Say whether a defect is what a watch suspects: a failure mode that it cannot hear proves nothing."""
    return defect.failure_mode is None or not modes or defect.failure_mode.code in modes


def _defect_since(firing: Firing) -> Defect | None:
    found = defects_about(firing.watch).filter(found_at__gte=firing.begin_at)
    return next((defect for defect in found if speaks_for(defect, firing.watch.failure_modes)), None)


def _other_proof(firing: Firing, order: WorkOrder) -> str:
    """Say what else shows it: worn or defect at a check, or taken out because it had failed or was worn."""
    component = firing.watch.component_id or order.component_id
    if component is None:
        return ""
    finding = Finding.objects.standing().filter(item__component=component, at__gte=firing.begin_at, result__in=FAULTS)
    if seen := finding.select_related("item__point").order_by("at").first():
        return f"{seen.item.point.what}: {seen.get_result_display()}"
    out = (Fitting.Removal.FAILED, Fitting.Removal.WORN)
    fitting = Fitting.objects.filter(component=component, removed_at__gte=firing.begin_at, removal__in=out)
    taken = fitting.order_by("removed_at").first()
    return str(taken.get_removal_display()) if taken else ""


@transaction.atomic
def judge_by_records(firings: QuerySet[Firing]) -> None:
    """Judge firings of the past by the defects that were found on their suspects about then."""
    for firing in firings.filter(verdict="").select_related("watch").select_for_update(of=("self",)):
        end_at = firing.end_at or clock.now()
        for defect in defects_about(firing.watch).filter(
            found_at__gte=firing.begin_at - FOUND_BEFORE, found_at__lte=end_at + PROVES_WITHIN
        ):
            if speaks_for(defect, firing.watch.failure_modes):
                firing.defect = defect
                _say(firing, Firing.Verdict.RIGHT, _("Found: %(what)s") % {"what": defect.what}, by=None)
                break
