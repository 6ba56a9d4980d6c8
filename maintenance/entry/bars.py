"""What bars entry into a chamber, and what must be said at its door: the one answer that all pages and refusals read.

Three things bar: a defect that blocks entry, until the work that mends it is signed off; what was mended but is proof
tested, until such a test is passed and signed off; a point that bars entry and was found worn or could not be seen,
until it is looked at again, proved, or somebody entitled says why people may go in all the same.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models import CheckPoint, Defect, Finding, LetIn, ProofTest, TaskSheet, WorkOrder
from plant import clock
from plant.models import Component, Kiln
from plant.pictures.marks import IN_DOUBT

State = WorkOrder.State
ESCAPE_DOOR_KIND = "escape-door"
LOCK_OUT_SKILL = "lock-out"
MENDED_STATES = (State.DONE, State.SIGNED_OFF)
ENDED_STATES = (State.SIGNED_OFF, State.WITHDRAWN)


class BarKind(Enum):
    """Why a chamber is barred."""

    DEFECT = "defect"
    PROOF = "proof"
    POINT = "point"


@dataclass(frozen=True, slots=True)
class EntryBar:
    """One thing that keeps everybody out of a chamber."""

    kind: BarKind
    what: str
    consequence: str
    since: datetime
    remedy: str
    # The number of the work order or check that it hangs on.
    ref: str
    url: str
    kiln_tag: str
    # Work orders that end it: they start although nobody may enter, from outside.
    ended_by: frozenset[int]
    component_id: int | None = None
    defect_id: int | None = None
    finding_id: int | None = None

    def __str__(self) -> str:
        return self.what


@dataclass(frozen=True, slots=True)
class DoorWord:
    """What everybody who goes in must be told, although it does not bar entry."""

    is_overdue_test: bool
    what: str
    since: datetime | date | None
    let_in_id: int | None = None


@dataclass(frozen=True, slots=True)
class _Job:
    """A work order on a component, as far as bars ask."""

    pk: int
    number: str
    state: str
    is_test: bool

    @classmethod
    def of(cls, order: WorkOrder) -> "_Job":
        return cls(order.pk, order.number, order.state, bool(order.sheet and order.sheet.is_proof_test))


def bars_of(kiln: Kiln) -> list[EntryBar]:
    """Return what bars entry into one chamber, the oldest first."""
    return bars_to_entry([kiln]).get(kiln.pk, [])


def bars_to_entry(kilns: Collection[Kiln] | Collection[int]) -> dict[int, list[EntryBar]]:
    """Return kiln id -> what bars entry into it, the oldest first; only barred kilns, in six queries at most."""
    defects = _blocking(kilns)
    findings = [finding for finding in doubtful_findings(kilns) if not let_in_of(finding)]
    components = {one.component_id for one in defects} | {one.item.component_id for one in findings}
    jobs = _jobs_on({pk for pk in components if pk is not None})
    tested = kinds_with_test() if defects or findings else frozenset()
    unmended = {one.component_id for one in defects if not _is_mended(one, tested)}
    bars = [_bar_of_defect(one, tested, jobs) for one in defects]
    found: dict[int, list[EntryBar]] = defaultdict(list)
    for kiln_id, bar in [
        *zip((one.kiln_id for one in defects), bars, strict=True),
        *((one.item.check_up.kiln_id, _bar_of_finding(one, tested, jobs, unmended)) for one in findings),
    ]:
        found[kiln_id].append(bar)
    return {kiln_id: sorted(of_kiln, key=_by_age) for kiln_id, of_kiln in found.items()}


def _by_age(bar: EntryBar) -> tuple[datetime, int, int]:
    """Sort by when it began; what began together stands in the order in which it was written down."""
    return bar.since, bar.defect_id or 0, bar.finding_id or 0


def kinds_with_test() -> frozenset[int]:
    """Return the kinds of component that fail unseen and are proof tested."""
    return frozenset(TaskSheet.objects.filter(is_proof_test=True).values_list("kind", flat=True))


def _blocking(kilns: Collection[Kiln] | Collection[int]) -> list[Defect]:
    live = WorkOrder.objects.exclude(state=State.WITHDRAWN)
    found = Defect.objects.blocking_entry().filter(kiln__in=kilns).select_related("component", "kiln")
    return list(found.prefetch_related(Prefetch("work_orders", live, to_attr="live_orders")))


def _mending_of(defect: Defect) -> WorkOrder | None:
    return next(iter(defect.live_orders), None)  # type: ignore[attr-defined]


def _is_mended(defect: Defect, tested: Collection[int]) -> bool:
    """Say whether it waits for its proof test alone, or for that and the sign-off of its mending."""
    mending = _mending_of(defect)
    is_tested = defect.component is not None and defect.component.kind_id in tested
    return is_tested and mending is not None and mending.state in MENDED_STATES


def _jobs_on(components: Collection[int]) -> dict[int | None, list[_Job]]:
    """Return component id -> its work that is not over."""
    found: dict[int | None, list[_Job]] = defaultdict(list)
    if components:
        orders = WorkOrder.objects.filter(component__in=components).exclude(state__in=ENDED_STATES)
        for order in orders.select_related("sheet").order_by("due_at", "number"):
            found[order.component_id].append(_Job.of(order))
    return found


def _bar_of_defect(defect: Defect, tested: Collection[int], jobs: dict[int | None, list[_Job]]) -> EntryBar:
    mending = _mending_of(defect)
    on_it = jobs[defect.component_id] if defect.component_id else []
    what = f"{defect.component.name}: {defect.what}" if defect.component else defect.what
    tests = [job for job in on_it if job.is_test]
    if _is_mended(defect, tested) and mending is not None:
        kind, remedy = BarKind.PROOF, _proof_words(defect, mending, tests)
        ended_by = {job.pk for job in tests} | {mending.pk}
        what = _("%(what)s (mended, not proved yet)") % {"what": what}
        ref = tests[0].number if tests else mending.number
    else:
        kind, remedy = BarKind.DEFECT, _mending_words(mending)
        ended_by, ref = ({mending.pk}, mending.number) if mending else (set(), "")
    return EntryBar(
        kind=kind,
        what=what,
        consequence=defect.consequence,
        since=defect.found_at,
        remedy=remedy,
        ref=ref,
        url=f"{reverse('maintenance:defects')}?kiln={defect.kiln.tag}",
        kiln_tag=defect.kiln.tag,
        ended_by=frozenset(ended_by),
        component_id=defect.component_id,
        defect_id=defect.pk,
    )


def _mending_words(mending: WorkOrder | None) -> str:
    if mending is None:
        return _("No work order is to mend it: make it one.")
    if mending.state == State.DONE:
        return _("%(number)s is done; somebody who did not do it must sign it off.") % {"number": mending.number}
    return _("%(number)s is to mend it, from outside.") % {"number": mending.number}


def _proof_words(defect: Defect, mending: WorkOrder, tests: list[_Job]) -> str:
    """Say what is missing until the proof test lets people in again."""
    said = []
    if mending.state == State.DONE:
        said.append(_mending_words(mending))
    what = defect.component.name if defect.component else defect.kiln.tag
    if not tests:
        said.append(_("Still barred until the proof test of %(what)s is passed: ask for one.") % {"what": what})
    elif tests[0].state == State.DONE:
        said.append(
            _("Still barred until the proof test of %(what)s, %(number)s, is signed off by somebody who did not do it.")
            % {"what": what, "number": tests[0].number}
        )
    else:
        said.append(
            _("Still barred until the proof test of %(what)s is passed: %(number)s.")
            % {"what": what, "number": tests[0].number}
        )
    return " ".join(said)


def _bar_of_finding(
    finding: Finding, tested: Collection[int], jobs: dict[int | None, list[_Job]], unmended: Collection[int | None]
) -> EntryBar:
    item = finding.item
    on_it = jobs[item.component_id] if item.component_id else []
    # What is known to be broken is not tried from inside before it is mended.
    ended_by = {job.pk for job in on_it if not (job.is_test and item.component_id in unmended)}
    remedy = _("Look at it again, or let somebody entitled who did not find it say why people may go in.")
    if item.component is not None and item.component.kind_id in tested:
        remedy += " " + _("A passed proof test that is signed off ends it too.")
    return EntryBar(
        kind=BarKind.POINT,
        what=say_finding(finding),
        consequence="",
        since=finding.at,
        remedy=remedy,
        ref=item.check_up.number,
        url=reverse("maintenance:check-item", args=[item.check_up.number, item.pk]),
        kiln_tag=item.check_up.kiln.tag,
        ended_by=frozenset(ended_by),
        component_id=item.component_id,
        finding_id=finding.pk,
    )


def say_finding(finding: Finding) -> str:
    """Say in one line what was found at which point of what."""
    item, finding = finding.item, finding.counting
    where = f"{item.component.name}, {item.point.what}" if item.component else item.point.what
    said = ": ".join(word for word in (str(finding.failure_mode or ""), finding.note or finding.reason) if word)
    return _("%(where)s: %(result)s (%(said)s)") % {
        "where": where,
        "result": finding.get_result_display(),
        "said": said,
    }


def doubtful_findings(kilns: Collection[Kiln] | Collection[int]) -> list[Finding]:
    """Return what speaks last of a point that bars entry and is worn or was not seen, with who was let in despite it.

    A later finding at the same point of the same component takes its place, and a proof test of the component that was
    passed after it and signed off ends it. Where two people differ, the worse counts until one decides. Three queries,
    one where nothing was ever doubtful: every page asks, and the others take long to word.
    """
    in_doubt = Q(result__in=IN_DOUBT) | Q(against__result__in=IN_DOUBT)
    at_points = Finding.objects.standing().filter(item__point__blocks_entry=True)
    ever_doubtful = at_points.filter(in_doubt, item__check_up__kiln__in=kilns)
    if not ever_doubtful.exists():
        return []
    part = Coalesce("item__component", 0)
    newer = at_points.annotate(part=part).filter(
        Q(at__gt=OuterRef("at")) | Q(at=OuterRef("at"), pk__gt=OuterRef("pk")),
        item__check_up__kiln=OuterRef("item__check_up__kiln"),
        item__point=OuterRef("item__point"),
        part=OuterRef("part"),
    )
    proved = ProofTest.objects.filter(
        component=OuterRef("item__component"),
        outcome=ProofTest.Outcome.PASSED,
        tested_at__gt=OuterRef("at"),
        work_order__state=State.SIGNED_OFF,
    )
    found = (
        ever_doubtful.with_other()
        .annotate(part=part)  # type: ignore[misc]
        .filter(Q(item__component__isnull=True) | Q(item__component__is_active=True))
        .filter(~Exists(newer), ~Exists(proved), counts__in=IN_DOUBT)
        .select_related("item__point", "item__component", "item__check_up__kiln__mill", "failure_mode", "by__person")
        .select_related("against__taken_back", "against__failure_mode", "against__by__person")
    )
    standing = LetIn.objects.filter(act=LetIn.Act.LET_IN, taken_back__isnull=True).select_related("by__person")
    return list(found.prefetch_related(Prefetch("let_ins", standing, to_attr="standing_let_ins")))


def let_in_of(finding: Finding) -> LetIn | None:
    """Return the word by which people may go in despite a finding of ``doubtful_findings``."""
    standing: list[LetIn] = finding.standing_let_ins  # type: ignore[attr-defined]
    return standing[0] if standing else None


def words_at_the_door(kilns: Collection[Kiln]) -> dict[int, list[DoorWord]]:
    """Return kiln id -> what is said at every entry: overdue tests of ways out, and who was let in despite a bar.

    Five queries at most.
    """
    found: dict[int, list[DoorWord]] = defaultdict(list)
    for kiln_id, word in [*_overdue_words(kilns), *_let_in_words(kilns)]:
        found[kiln_id].append(word)
    return dict(found)


def door_words_of(kiln: Kiln) -> list[DoorWord]:
    """Return what is said at every entry into one chamber."""
    return words_at_the_door([kiln]).get(kiln.pk, [])


def _let_in_words(kilns: Collection[Kiln]) -> Iterable[tuple[int, DoorWord]]:
    for finding in doubtful_findings(kilns):
        let_in = let_in_of(finding)
        if let_in is None:
            continue
        kiln = finding.item.check_up.kiln
        at = date_format(let_in.at.astimezone(kiln.mill.zone), "D j M H:i")
        words = _("%(what)s. %(who)s said on %(at)s why people may go in: %(why)s")
        said = {"what": say_finding(finding), "who": let_in.by or _("the program"), "at": at, "why": let_in.why}
        yield kiln.pk, DoorWord(False, words % said, let_in.at, let_in.pk)


def ways_out() -> QuerySet[Component]:
    """Return what people get out by, where it is proof tested: a fault of it bars entry."""
    kinds = CheckPoint.objects.filter(blocks_entry=True).values("kind")
    return Component.objects.in_use().filter(kind__in=kinds).filter(kind__in=list(kinds_with_test()))


def _overdue_words(kilns: Collection[Kiln]) -> Iterable[tuple[int, DoorWord]]:
    """Say of every way out whose proof test is overdue or was never made, since when."""
    last = ProofTest.objects.filter(component=OuterRef("pk")).order_by("-tested_at", "-id")
    watched = ways_out().filter(kiln__in=kilns).select_related("kiln__mill", "kind").order_by("kiln", "tag")
    for one in watched.annotate(next_due_on=Subquery(last.values("next_due_on")[:1])):
        due_on: date | None = one.next_due_on
        if due_on is None or due_on < clock.today(one.kiln.mill.zone):
            yield one.kiln_id, DoorWord(True, _say_overdue(one, due_on), due_on)


def _say_overdue(component: Component, due_on: date | None) -> str:
    said = {"what": component.name, "day": date_format(due_on, "j M Y") if due_on else ""}
    if due_on is None:
        return _("%(what)s: never proof tested. Nobody knows whether it can be relied on.") % said
    if component.kind.code == ESCAPE_DOOR_KIND:
        return _("The escape door's proof test is overdue since %(day)s: %(what)s.") % said
    return _("The proof test is overdue since %(day)s: %(what)s.") % said
