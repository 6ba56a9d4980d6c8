"""What many rows of upkeep can answer."""

from collections.abc import Collection, Iterable
from copy import copy
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db import models
from django.db.models import Case, Count, Exists, F, Max, OuterRef, Prefetch, Q, Subquery, Value, When
from django.db.models.functions import Coalesce

from maintenance.models import cautions
from maintenance.models.versions import contents_as_raised
from plant.pictures.marks import NOT_SEEN, WORST_FIRST

if TYPE_CHECKING:
    from maintenance.models import (  # noqa: F401
        Caution,
        CheckItem,
        CheckPoint,
        DayRun,
        Defect,
        Finding,
        Firing,
        FunctionCheck,
        KilnStop,
        Plan,
        PriceOfWaiting,
        ProofTest,
        StandingTask,
        Telling,
        Watch,
        WorkOrder,
    )
    from plant.models import Person

# Every energy is locked out before such work.
STATES_WITH_LOCK_OUT = ("empty", "still")
# Of which points a part of a function check consists, besides those that are seen in either state.
LOOKED_AT_IN = {"empty": "open_empty", "running": "running"}
STATES_BEFORE_START = ("raised", "ready", "placed")
FINISHED_STATES = ("done", "signed_off", "withdrawn")
# States of a plan that came to an end with a plan, before anybody has decided about it.
PLAN_TO_DECIDE = ("worked_out", "ended")
NOTICE_STANDS = timedelta(days=14)
# Whose place changes so shortly before is told by mail.
SHORT_NOTICE = timedelta(hours=48)


class WorkOrderQuerySet(models.QuerySet["WorkOrder"]):
    """Work orders."""

    def unfinished(self) -> "WorkOrderQuerySet":
        """Work that is still to be done."""
        return self.exclude(state__in=FINISHED_STATES)

    def at_work(self) -> "WorkOrderQuerySet":
        """Work that goes on now: begun, not finished, and not paused."""
        return self.filter(state="under_way", paused_at__isnull=True)

    def for_list(self) -> "WorkOrderQuerySet":
        """With everything a list shows, in a fixed number of queries."""
        assignments = apps.get_model("maintenance", "Assignment").objects.select_related("person")
        return self.select_related("kiln", "component", "defect", "placement").prefetch_related(
            Prefetch("assignments", queryset=assignments)
        )

    def with_crew(self) -> "WorkOrderQuerySet":
        """With the place, the skills that are asked for and the people who are given."""
        found = self.select_related("component", "placement", "left_out_by__person")
        return found.prefetch_related("skills__skill", "assignments__person")

    def asked_for_by(self, origin: str) -> "WorkOrderQuerySet":
        """Work that an origin of this kind asked for, first or joining later."""
        joined = {
            "standing_task": Q(standing_task__isnull=False),
            "finding": Q(defect__isnull=False),
            "watch": Q(Exists(apps.get_model("maintenance", "Firing").objects.filter(work_order=OuterRef("pk")))),
        }
        return self.filter(Q(origin=origin) | joined.get(origin, Q(pk__in=[])))

    def pins_lost(self) -> "WorkOrderQuerySet":
        """Work that was kept at a place which no longer held, and that nobody has answered for; it has not begun."""
        return self.exclude(pin_lost_why=[]).filter(state__in=STATES_BEFORE_START).select_related("kiln", "placement")

    def of_person(self, person: "Person | None") -> "WorkOrderQuerySet":
        """Work given to somebody; nothing where there is nobody."""
        return self.filter(assignments__person=person) if person else self.none()


class StandingTaskQuerySet(models.QuerySet["StandingTask"]):
    """Recurring tasks."""

    def in_use(self) -> "StandingTaskQuerySet":
        """Only recurring tasks that recur."""
        return self.filter(is_active=True)


class FunctionCheckQuerySet(models.QuerySet["FunctionCheck"]):
    """Function checks."""

    def under_way(self) -> "FunctionCheckQuerySet":
        """Checks that are not complete."""
        return self.filter(completed_at__isnull=True, withdrawn_at__isnull=True)


class DefectQuerySet(models.QuerySet["Defect"]):
    """Defects."""

    def not_cured(self) -> "DefectQuerySet":
        """Defects that still exist."""
        return self.filter(cured_at__isnull=True)

    def blocking_entry(self) -> "DefectQuerySet":
        """Defects that keep everybody out of the chamber."""
        return self.not_cured().filter(blocks_entry=True)


class PriceOfWaitingQuerySet(models.QuerySet["PriceOfWaiting"]):
    """Workings-out of what a defect costs."""

    def newest_first(self) -> "PriceOfWaitingQuerySet":
        """The one that counts first."""
        return self.order_by("-at", "-id")

    def last_of(self, defects: "Collection[int]") -> "dict[int, PriceOfWaiting]":
        """Return the price that counts of each defect, by the defect's key; one query, none without defects."""
        if not defects:
            return {}
        return {price.defect_id: price for price in self.filter(defect__in=defects).order_by("at", "id")}


def _caution_codes(order: "WorkOrder") -> set[str]:
    """Name the cautions that a job has whatever its sheet says."""
    codes = set(cautions.ALWAYS[order.needs_state])
    if order.defect and order.defect.blocks_entry:
        codes.add("escape-fault")
    return codes


def _cautions_of_points(orders: "Iterable[WorkOrder]") -> dict[int, set[int]]:
    """Return order id -> ids of the cautions of what is looked at, for parts of function checks; one query at most."""
    orders = [order for order in orders if order.check_up_id and order.needs_state in LOOKED_AT_IN]
    if not orders:
        return {}
    items = apps.get_model("maintenance", "CheckItem").objects.filter(check_up__in={one.check_up_id for one in orders})
    items = items.filter(point__cautions__isnull=False).order_by().distinct()
    rows = set(items.values_list("check_up", "point__seen_in", "point__cautions"))
    return {
        order.pk: {
            caution
            for check, seen_in, caution in rows
            if check == order.check_up_id and seen_in in (LOOKED_AT_IN[order.needs_state], "either")
        }
        for order in orders
    }


def _keeps_its_own(order: "WorkOrder", as_raised: dict[int, set[str]]) -> bool:
    """Say whether a job is over, and was done by a sheet that has changed since."""
    return order.pk in as_raised and order.state in FINISHED_STATES


class CautionQuerySet(models.QuerySet["Caution"]):
    """Cautions. Whoever shows them to somebody asks here: each says what must be so in that state of the kiln."""

    def for_work_order(self, order: "WorkOrder") -> "list[Caution]":
        """The cautions of a job: its sheet's or points', those of its place, and that local rules come first."""
        return self.for_work_orders([order])[order.pk]

    def for_work_orders(self, orders: "Iterable[WorkOrder]") -> "dict[int, list[Caution]]":
        """Return order id -> its cautions, in four queries at most.

        A job keeps those of the sheet that it was raised by. What the sheet has gained since counts at once, until the
        job is done.
        """
        orders = list(orders)
        as_raised = {pk: set(content["cautions"]) for pk, content in contents_as_raised(orders).items()}
        of_points = _cautions_of_points(orders)
        codes = set().union(*map(_caution_codes, orders), *as_raised.values())
        sheets = {order.sheet_id for order in orders if order.sheet_id is not None}
        wanted = Q(code__in=codes) | Q(task_sheets__in=sheets) | Q(pk__in=set().union(*of_points.values()))
        known = list(self.filter(wanted).distinct().general_first()) if orders else []
        through = self.model.task_sheets.through.objects.filter(tasksheet__in=sheets)
        of_sheet = set(through.values_list("tasksheet_id", "caution_id"))
        return {
            order.pk: cautions.that_hold(
                # Each job has its own: what must be so differs from state to state.
                [
                    copy(one)
                    for one in known
                    if one.code in _caution_codes(order) | as_raised.get(order.pk, set())
                    or ((order.sheet_id, one.pk) in of_sheet and not _keeps_its_own(order, as_raised))
                    or one.pk in of_points.get(order.pk, ())
                ],
                order.needs_state,
            )
            for order in orders
        }

    def for_lock_out(self) -> "list[Caution]":
        """The cautions of whoever locks a kiln out."""
        found = self.filter(code__in=cautions.ALWAYS[cautions.EMPTY]).general_first()
        return cautions.that_hold(found, cautions.EMPTY)

    def for_sitting(self, check: "FunctionCheck", kiln_state: str) -> "list[Caution]":
        """The cautions of all points that are looked at in a state of the kiln."""
        state = cautions.STATE_OF_LOOK[kiln_state]
        points = check.items.filter(point__seen_in__in=[kiln_state, "either"]).values("point")
        found = self.filter(Q(code__in=cautions.ALWAYS[state]) | Q(check_points__in=points)).distinct().general_first()
        return cautions.that_hold(found, state)

    def for_point(self, point: "CheckPoint", kiln_state: str | None) -> "list[Caution]":
        """The cautions of one point, looked at in a state of the kiln; without a sitting as the point says."""
        state = cautions.STATE_OF_LOOK[kiln_state or point.seen_in]
        return cautions.that_hold(self.filter(check_points=point).general_first(), state)

    def general_first(self) -> "CautionQuerySet":
        """In the order to read them: local rules, the running kiln or the lock-out, the chamber, then the rest."""
        first = ("general", "beside-running", "lock-out", "warm-chamber")
        rank = Case(*(When(code=code, then=at) for at, code in enumerate(first)), default=len(first))
        return self.order_by(rank, "code")


def _standing_findings() -> "FindingQuerySet":
    """Findings of the item of an outer query that were not taken back."""
    findings: FindingQuerySet = apps.get_model("maintenance", "Finding").objects.filter(item=OuterRef("pk"))
    return findings.standing()


class FindingQuerySet(models.QuerySet["Finding"]):
    """Findings."""

    def standing(self) -> "FindingQuerySet":
        """Without those that were taken back."""
        return self.filter(taken_back__isnull=True)

    def with_other(self) -> "FindingQuerySet":
        """Each with the result it stands against (``other``; else its own) and the worse of the two (``counts``)."""
        against = Q(against__isnull=False, against__taken_back__isnull=True)
        found = self.annotate(other=Case(When(against, then=F("against__result")), default=F("result")))
        worst = (When(Q(result=one) | Q(other=one), then=Value(one)) for one in WORST_FIRST)
        return found.annotate(counts=Case(*worst, default=F("result")))

    def in_order(self) -> "FindingQuerySet":
        """As they were entered, with what they stand against."""
        return self.select_related(
            "failure_mode", "by__person", "sitting", "taken_back", "against__taken_back", "against__by__person"
        ).order_by("at", "id")


class CheckItemQuerySet(models.QuerySet["CheckItem"]):
    """Points of function checks."""

    def with_latest(self) -> "CheckItemQuerySet":
        """Each with the result that counts (``latest_result``) and when it was found (``latest_at``)."""
        findings: Any = _standing_findings().with_other().order_by("-at", "-id")
        return self.annotate(
            latest_result=Subquery(findings.values("counts")[:1]), latest_at=Subquery(findings.values("at")[:1])
        )

    def disputed(self) -> "CheckItemQuerySet":
        """Points at which two people found different things, and nobody has decided."""
        last = _standing_findings().order_by("-at", "-id").values("pk")[:1]
        differs = Q(against__isnull=False, against__taken_back__isnull=True)
        findings = apps.get_model("maintenance", "Finding").objects.filter(differs)
        return self.annotate(last_finding=Subquery(last)).filter(last_finding__in=findings.values("pk"))

    def needed(self) -> "CheckItemQuerySet":
        """Without substitutes that were made for a point which could be seen after all."""
        items: Any = self.model._default_manager.all()
        unseen = items.with_latest().filter(
            check_up=OuterRef("check_up"), point__substitute=OuterRef("point"), latest_result=NOT_SEEN.code
        )
        return self.filter(Q(is_substitute=False) | Exists(unseen))

    def without_finding(self) -> "CheckItemQuerySet":
        """Points that nobody has looked at yet."""
        return self.needed().filter(~Exists(_standing_findings()))

    def progress(self) -> dict[int, dict[str, tuple[int, int]]]:
        """Return check id -> state in which points can be seen -> (seen, all)."""
        rows = (
            self.needed()
            .with_latest()
            .order_by()
            .values("check_up", "point__seen_in")
            .annotate(all=Count("pk"), seen=Count("pk", filter=Q(latest_result__isnull=False)))
        )
        found: dict[int, dict[str, tuple[int, int]]] = {}
        for row in rows:
            found.setdefault(row["check_up"], {})[row["point__seen_in"]] = (row["seen"], row["all"])
        return found


class ProofTestQuerySet(models.QuerySet["ProofTest"]):
    """Proof tests."""

    def latest_of_each(self) -> "ProofTestQuerySet":
        """Only the last test of each component."""
        last = self.model._default_manager.filter(component=OuterRef("component")).order_by("-tested_at", "-id")
        return self.filter(pk=Subquery(last.values("pk")[:1]))


class WatchQuerySet(models.QuerySet["Watch"]):
    """Watches."""

    def switched_on(self) -> "WatchQuerySet":
        """Watches that look, on kilns in use."""
        return self.filter(is_on=True, kiln__is_active=True)

    def of_suspect(self, watch: "Watch") -> "WatchQuerySet":
        """Watches of the kiln that suspect what a watch suspects, itself included.

        That is the same component; a watch that knows only the kind of component means any of that kind.
        """
        found = self.filter(kiln=watch.kiln_id)
        if watch.component_kind_id is None:
            return found.filter(pk=watch.pk)
        same_kind = found.filter(component_kind=watch.component_kind_id)
        if watch.component_id is None:
            return same_kind
        return same_kind.filter(Q(component=watch.component_id) | Q(component__isnull=True))

    def with_counts(self) -> "WatchQuerySet":
        """Each with how often it fired and how often it was right; one query.

        ``raised``, ``right``, ``wrong``, ``unjudged`` and ``open_now`` are counts, ``last_at`` when it fired last.
        """
        return self.annotate(
            raised=Count("firings"),
            right=Count("firings", Q(firings__verdict="right")),
            wrong=Count("firings", Q(firings__verdict="wrong")),
            unjudged=Count("firings", Q(firings__verdict="")),
            open_now=Count("firings", Q(firings__end_at__isnull=True)),
            last_at=Max("firings__begin_at"),
        )


class FiringQuerySet(models.QuerySet["Firing"]):
    """What watches raised."""

    def for_list(self) -> "FiringQuerySet":
        """With everything a list shows, in one query."""
        return self.select_related(
            "watch__kiln__mill",
            "watch__component",
            "watch__component_kind",
            "work_order",
            "defect",
            "judged_by__person",
        )

    def going_on(self) -> "FiringQuerySet":
        """What is not over."""
        return self.filter(end_at__isnull=True)

    def not_judged(self) -> "FiringQuerySet":
        """What nobody has said right or false of."""
        return self.filter(verdict="")

    def notices(self, now: datetime) -> "FiringQuerySet":
        """Hints that want a look: not made into work, not judged, going on or over since at most two weeks."""
        fresh = Q(end_at__isnull=True) | Q(end_at__gte=now - NOTICE_STANDS)
        return self.not_judged().filter(fresh, is_notice=True, watch__kiln__is_active=True)


class PlanQuerySet(models.QuerySet["Plan"]):
    """Plans, the newest first; the big JSON of problem and plan stays where it is until it is asked for."""

    def for_list(self) -> "PlanQuerySet":
        """What a list shows, without problem and plan."""
        return self.select_related("wanted_by__person", "decided_by__person").defer(
            "problem", "plan", "as_it_stood", "charge_ids", "last_charge_ids", "versions", "changes"
        )

    def to_decide(self) -> "PlanQuerySet":
        """Plans that could be accepted: they suppose nothing and nobody has decided about them."""
        return self.filter(state__in=PLAN_TO_DECIDE, suppositions=[])


class KilnStopQuerySet(models.QuerySet["KilnStop"]):
    """Lock-outs of an accepted plan."""

    def with_jobs(self) -> "KilnStopQuerySet":
        """Only those in which a job still has its place: where all have left it, nobody has to lock out."""
        inside = apps.get_model("maintenance", "Placement").objects.filter(
            work_order__kiln=OuterRef("kiln"),
            work_order__needs_state__in=STATES_WITH_LOCK_OUT,
            start_at__gte=OuterRef("lock_out_at"),
            end_at__lte=OuterRef("ready_at"),
        )
        return self.filter(Exists(inside))

    def between(self, start_at: datetime, end_at: datetime) -> "KilnStopQuerySet":
        """Those that overlap a span of time."""
        return self.filter(lock_out_at__lt=end_at, ready_at__gt=start_at)

    def around(self, order: "WorkOrder") -> "KilnStopQuerySet":
        """Those in which a job has its place; none for a job that needs no lock-out or has no place."""
        placed = getattr(order, "placement", None)
        if placed is None or order.needs_state not in STATES_WITH_LOCK_OUT:
            return self.none()
        return self.filter(kiln=order.kiln_id, lock_out_at__lte=placed.start_at, ready_at__gte=placed.end_at)

    def for_people(self) -> "KilnStopQuerySet":
        """With all that is said of them; ``turn`` counts those that came earlier in the same place of the kiln."""
        same = self.model._default_manager.filter(kiln=OuterRef("kiln"), lock_out_at__lt=OuterRef("lock_out_at"))
        for place in ("after_charge", "during_charge"):
            same = same.annotate(**{f"{place}_or_none": Coalesce(place, 0)})
            same = same.filter(**{f"{place}_or_none": Coalesce(OuterRef(place), 0)})
        count = same.order_by().values("kiln").annotate(count=Count("pk")).values("count")
        found = self.select_related("kiln", "person").order_by("lock_out_at", "kiln__tag")
        return found.annotate(turn=Coalesce(Subquery(count), 0), decided_at=F("plan__decided_at"))


class TellingQuerySet(models.QuerySet["Telling"]):
    """Mails about places that changed at short notice."""

    def to_send(self, now: datetime) -> "TellingQuerySet":
        """What nobody was sent yet and is not past; the oldest first."""
        return self.filter(sent_at__isnull=True, made_at__gte=now - SHORT_NOTICE).order_by("made_at", "id")


class DayRunQuerySet(models.QuerySet["DayRun"]):
    """Runs of the day's work."""

    def last_finished(self) -> "DayRun | None":
        """Return the last run that came to its end."""
        return self.filter(finished_at__isnull=False).order_by("-finished_at").first()
