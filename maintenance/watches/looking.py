"""Watches at work: each looks at the readings that came since it looked last, in order, nothing twice."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db import transaction
from django.db.models import Max

from maintenance.models import Firing, Watch, WorkOrder
from maintenance.recurring.calculations.meters import Limit, MeterHistory
from maintenance.recurring.rolling_on import meter_histories
from maintenance.watches.calculations.charge_rules import Seen, seen_in_charges
from maintenance.watches.calculations.drift_charts import Drift
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.rule_kinds import MomentRule, RunningSince
from maintenance.watches.calculations.trends import Trend
from maintenance.watches.firing import Looked, complete_pictures, note
from maintenance.watches.moments import STEP_S, carry_on
from maintenance.watches.specs import is_about_silence, spec_of, used_keys
from maintenance.watches.verdicts import judge_by_records
from plant import clock
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.models import Kiln
from plant.readings.calculations.climate_signals import lookback_minutes
from plant.readings.calculations.climate_view import View
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE
from plant.readings.charge_figures import figures_until, keep_figures, last_readings_s, make_up, usual_of
from plant.readings.spans import load_frame
from plant.warnings.running_bars import lock_kiln

DAY_S = 86_400
# So much is looked at in one transaction.
PORTION_S = 14 * DAY_S
# So long a watch waits for a channel that is behind the others: a logger that is read out every other day. Ours.
PATIENCE_S = 2 * DAY_S
# What is usual for a kiln lies in the charges of about a year.
CHARGES_BACK_S = 400 * DAY_S
MAKE_UP_S = 30 * DAY_S


@dataclass(frozen=True, slots=True)
class Task:
    """A watch that has something to look at: moments after ``after_s`` up to ``until_s``, both on the grid."""

    watch: Watch
    spec: WatchSpec
    rule: MomentRule
    after_s: int
    until_s: int


def look(kiln: Kiln, from_s: int, until_s: int, *, as_then: bool = False) -> Looked:
    """Let a kiln's watches look at readings that were settled (both ends included); what fires has its consequences.

    Each watch goes on from the moment up to which it has looked, so that it may be called again, late or by several at
    once. It waits for a channel that is behind; what comes later still changes the figures of charges only.
    """
    looked = Looked()
    charges = keep_figures(kiln, from_s, until_s)
    while _look_on(kiln, until_s, looked, as_then=as_then):
        pass
    if charges:
        look_at_charges(kiln, until_s, looked, as_then=as_then)
    return looked


def look_over_past(kiln: Kiln, from_s: int, until_s: int) -> Looked:
    """Let the watches that are switched on look at a past from its begin on, as if they had looked at the time.

    What fired is judged by the defects on record. A second call changes nothing.
    """
    with transaction.atomic():
        for watch in _locked(kiln):
            watch.looked_until_s, watch.carried = from_s // STEP_S * STEP_S, {}
            watch.save(update_fields=["looked_until_s", "carried"])
    looked = look(kiln, from_s, until_s, as_then=True)
    judge_by_records(Firing.objects.filter(pk__in=[firing.pk for firing in looked.fired]))
    return looked


def look_around() -> Looked:
    """Look at what no reading announces: silence, hours and charges since the last work, charges entered late."""
    looked, now_s = Looked(), to_epoch_s(clock.now())
    for kiln in Kiln.objects.in_use().filter(channels__isnull=False).distinct().select_related("mill"):
        if last_readings_s(kiln):
            while _look_on(kiln, now_s, looked, only_silence=True):
                pass
            if make_up(kiln, now_s - MAKE_UP_S, now_s):
                look_at_charges(kiln, now_s, looked)
    for kiln in Kiln.objects.in_use().filter(watches__is_on=True, watches__rule="running_since").distinct():
        _count_up(kiln, now_s, looked)
    return looked


def _locked(kiln: Kiln) -> list[Watch]:
    """Lock the kiln, its open work, then its watches, always in this order; return those that are on.

    A firing may join any work that is open for the kiln.
    """
    lock_kiln(kiln.pk)
    orders = WorkOrder.objects.unfinished().filter(kiln=kiln)
    list(orders.order_by("pk").select_for_update().values_list("pk", flat=True))
    related = ("kiln__mill", "component__kind", "component_kind", "sheet")
    found = Watch.objects.switched_on().select_for_update(of=("self",)).filter(kiln=kiln)
    return list(found.select_related(*related).order_by("pk"))


# moments


@transaction.atomic
def _look_on(kiln: Kiln, until_s: int, looked: Looked, *, only_silence: bool = False, as_then: bool = False) -> bool:
    """Look at the next portion; say whether there is more."""
    watches = [(watch, spec_of(watch)) for watch in _locked(kiln)]
    tasks = _tasks(kiln, watches, until_s, only_silence=only_silence)
    if not tasks:
        if not only_silence:
            complete_pictures(watches, until_s)
        return False
    begin_s = min(task.after_s for task in tasks) + STEP_S
    end_s = min(max(task.until_s for task in tasks), begin_s + PORTION_S)
    lookback_s = max(lookback_minutes(task.spec.signal) for task in tasks) * 60
    view = View(load_frame(kiln, begin_s - lookback_s, end_s + STEP_S), usual_of(kiln, begin_s))
    for task in tasks:
        fired = _carried_on(task, view, min(end_s, task.until_s))
        note(task.watch, task.spec, fired, looked, max(until_s, end_s), as_then=as_then)
    Watch.objects.bulk_update([task.watch for task in tasks], ["carried", "looked_until_s"])
    if not only_silence:
        complete_pictures(watches, until_s)
    return end_s < max(task.until_s for task in tasks)


def _tasks(kiln: Kiln, watches: Sequence[tuple[Watch, WatchSpec]], until_s: int, *, only_silence: bool) -> list[Task]:
    """Return what the watches have not looked at: up to the channel that is farthest behind, silence up to the end."""
    heard = last_readings_s(kiln, until_s + 1)
    # What was settled once is not forgotten because late readings lie before it.
    settled_s = max([until_s, *(watch.looked_until_s or 0 for watch, _spec in watches)])
    tasks = []
    for watch, spec in watches:
        is_silence = is_about_silence(spec)
        if isinstance(spec.rule, Drift | Trend) or _counts_work(spec) or (only_silence and not is_silence):
            continue
        last_s = until_s if is_silence else min(_heard_until(spec, heard, until_s), settled_s)
        last_s = last_s // STEP_S * STEP_S
        after_s = watch.looked_until_s if watch.looked_until_s is not None else last_s - STEP_S
        if last_s > after_s:
            tasks.append(Task(watch, spec, spec.rule, after_s, last_s))
    return tasks


def _heard_until(spec: WatchSpec, heard: dict[str, int], until_s: int) -> int:
    """Return up to when all channels of a watch were heard; one that has long been silent is not waited for."""
    steady = [
        heard[key]
        for key in used_keys(spec, heard)
        if key.partition(":")[0] not in TOLD_ON_CHANGE and heard[key] >= until_s - PATIENCE_S
    ]
    return min(steady, default=until_s)


def _carried_on(task: Task, view: View, end_s: int) -> list[Seen]:
    """Carry a watch on up to a moment; return what it saw."""
    watch = task.watch
    if end_s <= task.after_s:
        return []
    fired, watch.carried = carry_on(watch.kiln, task.spec, task.rule, watch.carried, view, task.after_s + STEP_S, end_s)
    watch.looked_until_s = end_s
    return [Seen(one.since_s, one.begin_s, one.end_s, one.worst) for one in fired]


# figures of charges


@transaction.atomic
def look_at_charges(kiln: Kiln, until_s: int, looked: Looked, *, as_then: bool = False) -> None:
    """Let the watches on figures of charges look at all charges that ran to their end; late figures count too."""
    for watch in _locked(kiln):
        spec = spec_of(watch)
        if not isinstance(spec.rule, Drift | Trend):
            continue
        after_s = watch.looked_until_s if watch.looked_until_s is not None else until_s
        figures = figures_until(kiln, spec.signal, until_s - CHARGES_BACK_S, until_s)
        resets_s = [int(at_s) for at_s in watch.carried.get("resets_s", [])]
        seen = seen_in_charges(spec.rule, [one[0] for one in figures], [one[1] for one in figures], resets_s)
        begins = {to_epoch_s(at) for at in watch.firings.values_list("begin_at", flat=True)}
        # What began before it was switched on is the trial's to tell.
        note(
            watch,
            spec,
            [one for one in seen if one.begin_s > after_s or one.begin_s in begins],
            looked,
            until_s,
            as_then=as_then,
        )
        watch.looked_until_s = max([after_s, *(one[0] for one in figures)])
        watch.save(update_fields=["looked_until_s"])


# hours and charges since the last work


def _counts_work(spec: WatchSpec) -> bool:
    """Say whether the kiln's meter and charges are counted; hours of one fan are counted from its readings."""
    return isinstance(spec.rule, RunningSince) and (spec.rule.hours is None or ":" not in spec.signal)


@transaction.atomic
def _count_up(kiln: Kiln, now_s: int, looked: Looked) -> None:
    """Count running hours by the kiln's meter, or charges, since the last work."""
    today = clock.today(kiln.mill.zone)
    hours, charges = meter_histories([kiln.pk], today)[kiln.pk]
    for watch in _locked(kiln):
        spec = spec_of(watch)
        if not isinstance(spec.rule, RunningSince) or not _counts_work(spec):
            continue
        since_s = int(watch.carried.get("since_s", _last_work_s(watch, now_s)))
        history, limit = (hours, spec.rule.hours) if spec.rule.hours is not None else (charges, spec.rule.charges)
        used = _used_since(history, since_s, kiln)
        if limit is None or used < limit:
            continue
        begin_s = int(watch.carried.get("begin_s", now_s))
        watch.carried = {"since_s": since_s, "begin_s": begin_s}
        watch.save(update_fields=["carried"])
        note(watch, spec, [Seen(since_s, begin_s, None, round(used, 1))], looked, now_s)


def _last_work_s(watch: Watch, now_s: int) -> int:
    """Return when the watch's job was last done on what it suspects; else since when the watch is switched on."""
    same = WorkOrder.objects.filter(kiln=watch.kiln_id, component=watch.component_id, sheet=watch.sheet_id)
    done_at = same.filter(sheet__isnull=False, done_at__isnull=False).aggregate(last=Max("done_at"))["last"]
    begun_at = done_at or watch.switched_on_at
    return to_epoch_s(begun_at) if begun_at else now_s


def _used_since(history: MeterHistory, since_s: int, kiln: Kiln) -> float:
    """Return the use since a day, between readings by the mean of the days."""
    points = history.since(None).points
    since_on = from_epoch_s(since_s).astimezone(kiln.mill.zone).date()
    before = 0.0
    for (from_on, used), (to_on, more) in pairwise(points):
        if to_on <= since_on:
            before = more
        elif from_on <= since_on:
            is_steady = history.limit is Limit.RUNNING_HOURS
            before = used + (more - used) * (since_on - from_on).days / (to_on - from_on).days if is_steady else used
    return (points[-1][1] - before) if points else 0.0
