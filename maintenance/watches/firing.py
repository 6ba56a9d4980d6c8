"""What comes of it when a watch fires: a hint or a work order, with the sentence, the picture and the suspects."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from math import isfinite

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.advice import refresh_advice
from inventory.models import Part
from maintenance.losses.waiting_loss import to_the_cent
from maintenance.models import Firing, Watch, WorkOrder
from maintenance.models.catalogue import NeedsState
from maintenance.orders.joining import Asked, join, same_work, suspect_of
from maintenance.orders.raising import raise_work_order, update_readiness
from maintenance.pricing.prefill import CannotBePricedError, price_for
from maintenance.watches.calculations.charge_rules import Seen
from maintenance.watches.calculations.rows import WatchSpec
from maintenance.watches.calculations.suspects import rank
from maintenance.watches.firing_data import picture_of
from maintenance.watches.verdicts import defects_about
from maintenance.watches.words import heard_of, sentence
from plant import clock
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.sentences import Sentence, Sentences, sentences, typed
from plant.models import Change, Downtime, FailureMode, Fitting, Kiln

# What is over already and began longer ago is put on record, but sends nobody: readings came late.
FRESH = timedelta(days=14)
# A look at what a watch without a task sheet saw: our own guess.
GUESSED_HOURS = Decimal("0.5")
LEAKS = ("steam_leak", "water_leak")
ZERO = Decimal(0)


@dataclass
class Looked:
    """What came of looking: firings that are new, how many ended, and the work that was raised."""

    fired: list[Firing] = field(default_factory=list)
    ended: int = 0
    work_orders: list[WorkOrder] = field(default_factory=list)
    joined: list[WorkOrder] = field(default_factory=list)


def note(
    watch: Watch, spec: WatchSpec, seen: Sequence[Seen], looked: Looked, until_s: int, *, as_then: bool = False
) -> None:
    """Keep what a watch saw; what is new becomes a hint or work. The kiln's watches must be locked.

    ``until_s`` is up to when readings are settled. ``as_then`` says that the program looks back: it notes each firing
    as if it had looked at the time.
    """
    if not seen:
        return
    known = {
        to_epoch_s(firing.begin_at): firing
        for firing in Firing.objects.filter(watch=watch, begin_at__in=[from_epoch_s(one.begin_s) for one in seen])
    }
    for one in seen:
        firing = known.get(one.begin_s)
        if firing is None:
            looked.fired.append(_new(watch, spec, one, looked, until_s, as_then=as_then))
        elif firing.end_at is None:
            looked.ended += _go_on(firing, watch, spec, one, until_s)


def complete_pictures(watches: Iterable[tuple[Watch, WatchSpec]], until_s: int) -> None:
    """Draw the hours after a firing into its picture once they have passed."""
    specs = {watch.pk: (watch, spec) for watch, spec in watches}
    short = Firing.objects.filter(watch__in=specs, picture__is_whole=False, picture__until_s__lte=until_s)
    for firing in short:
        watch, spec = specs[firing.watch_id]
        firing.picture = picture_of(watch.kiln, spec, _seen_of(firing), until_s)
        firing.save(update_fields=["picture"])


def _new(watch: Watch, spec: WatchSpec, seen: Seen, looked: Looked, until_s: int, *, as_then: bool) -> Firing:
    now, begin_at = clock.now(), from_epoch_s(seen.begin_s)
    firing = Firing.objects.create(
        watch=watch,
        begin_at=begin_at,
        end_at=from_epoch_s(seen.end_s) if seen.end_s is not None else None,
        noticed_at=begin_at if as_then else now,
        worst_value=_known(seen.worst),
        sentence=_said(watch, spec, seen),
        picture=picture_of(watch.kiln, spec, seen, until_s) | {"since_s": seen.since_s},
        suspects=suspects_of(watch),
        is_notice=watch.severity == Watch.Severity.NOTICE,
    )
    if firing.end_at is None or begin_at >= now - FRESH:
        _follow_up(firing, watch, looked)
    return firing


def _go_on(firing: Firing, watch: Watch, spec: WatchSpec, seen: Seen, until_s: int) -> bool:
    """Bring a firing that went on up to date; say whether it ended."""
    has_ended = seen.end_s is not None
    worst = _known(seen.worst)
    if not has_ended and firing.worst_value == worst:
        return False
    firing.worst_value, firing.sentence = worst, (_said(watch, spec, seen),)
    fields = ["worst_value", "sentence"]
    if seen.end_s is not None:
        firing.end_at = from_epoch_s(seen.end_s)
        firing.picture = picture_of(watch.kiln, spec, seen, until_s) | {"since_s": seen.since_s}
        fields += ["end_at", "picture"]
    firing.save(update_fields=fields)
    return has_ended


def _known(value: float) -> float | None:
    return value if isfinite(value) else None


def _said(watch: Watch, spec: WatchSpec, seen: Seen) -> Sentence:
    return sentence(spec, heard_of(seen, watch.kiln.mill))


def _seen_of(firing: Firing) -> Seen:
    end_s = to_epoch_s(firing.end_at) if firing.end_at else None
    begin_s = to_epoch_s(firing.begin_at)
    return Seen(firing.picture.get("since_s", begin_s), begin_s, end_s, firing.worst_value or 0.0)


# the work


def _follow_up(firing: Firing, watch: Watch, looked: Looked) -> None:
    """Let a firing join the work that is open, raise work, or stay a hint until a second watch agrees."""
    agreeing = list(_agreeing(firing, watch))
    order = _open_order(watch) or next((one.work_order for one in agreeing if _is_open(one.work_order)), None)
    if order is None and firing.is_notice and not agreeing:
        return
    if order is None and (order := _join(firing, watch)) is not None:
        looked.joined.append(order)
    if order is None:
        order = _raise(firing, watch)
        looked.work_orders.append(order)
    for one in [firing, *(one for one in agreeing if one.is_notice)]:
        one.work_order, one.is_notice = order, False
        one.save(update_fields=["work_order", "is_notice"])
    Change.record(order, "watch spoke up", by=None, after={"watch": watch.name}, said=firing.sentence)


def _join(firing: Firing, watch: Watch) -> WorkOrder | None:
    """Let a firing join work that something else asked for; None where none is open for the same work."""
    order = same_work(watch.kiln, suspect_of(watch), watch.sheet) if watch.safety_days is None else None
    if order is not None:
        cost, priced, unknown = _cost(watch, clock.now())
        asked = Asked(
            origin=WorkOrder.Origin.WATCH,
            why=(*sentences(firing.sentence), *_suspects_told(firing), *priced),
            due_at=clock.now() + timedelta(days=watch.due_days),
            cost_of_delay_per_day=cost,
            cost_unknown_why=unknown,
        )
        join(order, asked, by=None)
    return order


def _is_open(order: WorkOrder | None) -> bool:
    return order is not None and WorkOrder.objects.unfinished().filter(pk=order.pk).exists()


def _open_order(watch: Watch) -> WorkOrder | None:
    """Return the work that this watch raised and that is not done, or the same job on the same suspect."""
    same_job = Q(firings__watch__in=Watch.objects.of_suspect(watch), sheet=watch.sheet_id, sheet__isnull=False)
    found = WorkOrder.objects.unfinished().filter(kiln=watch.kiln_id, origin=WorkOrder.Origin.WATCH)
    return found.filter(Q(firings__watch=watch) | same_job).order_by("raised_at", "pk").first()


def _agreeing(firing: Firing, watch: Watch) -> Iterable[Firing]:
    """Return what other watches say of the same suspect at about the same time and nobody found to be false."""
    within = timedelta(days=watch.agrees_within_days)
    others = Firing.objects.filter(watch__in=Watch.objects.of_suspect(watch)).exclude(watch=watch)
    near = Q(end_at__isnull=True) | Q(end_at__gte=firing.begin_at - within)
    found = others.filter(near, begin_at__lte=firing.begin_at + within)
    return found.exclude(verdict=Firing.Verdict.WRONG).select_related("work_order").order_by("begin_at")


def _raise(firing: Firing, watch: Watch) -> WorkOrder:
    now, kiln, sheet = clock.now(), watch.kiln, watch.sheet
    cost, priced, unknown = _cost(watch, now)
    is_safety = watch.safety_days is not None
    order = raise_work_order(
        kiln=kiln,
        component=watch.component,
        title=sheet.title if sheet else (_("Look into: %(watch)s") % {"watch": watch.name})[:160],
        origin=WorkOrder.Origin.WATCH,
        sheet=sheet,
        needs_state=None if sheet else NeedsState.ANY,
        hours=None if sheet else GUESSED_HOURS,
        due_at=now + timedelta(days=watch.due_days),
        safety_at=now + timedelta(days=watch.safety_days) if watch.safety_days is not None else None,
        is_safety=is_safety,
        cost_of_delay_per_day=cost,
        cost_unknown_why=unknown,
        why=(*sentences(firing.sentence), *_suspects_told(firing), *priced),
    )
    parts = list(Part.objects.filter(pk__in=order.parts.values("part")))
    if parts:
        refresh_advice(clock.today(kiln.mill.zone), parts)
    update_readiness([order])
    return order


def _cost(watch: Watch, now: datetime) -> tuple[Decimal, Sentences, Sentences]:
    """Return what a day of waiting costs where the watch names a kind of loss, in words too, and why nobody can say."""
    loss = watch.loss_kind
    if not loss:
        return ZERO, (), ()
    if loss in LEAKS:
        loss = "steam_leak" if watch.kiln.heating_medium == Kiln.HeatingMedium.STEAM else "water_leak"
    try:
        price = price_for(watch.kiln, watch.component, loss, now)
    except CannotBePricedError as refusal:
        unknown: Sentences = (Sentence.of("price.cannot_be_said", why=refusal.why),)
        return ZERO, unknown, unknown
    except ValueError as refusal:
        unknown = (Sentence.of("price.cannot_be_said", why=typed(f"{refusal}.")),)
        return ZERO, unknown, unknown
    if price is None:
        unknown = (Sentence.of("price.no_rate"),)
        return ZERO, unknown, unknown
    cost = to_the_cent(price.cost_per_day)
    told = Sentence.of("waiting.assumed", cost_money=cost, heat_kwh=price.kwh_per_day, lost_m3=price.m3_per_day)
    return cost, (told,), ()


# the suspects


def suspects_of(watch: Watch) -> list[dict[str, object]]:
    """Rank the failure modes behind a firing, by the watch's order and by what was found here before."""
    times: Counter[str] = Counter()
    last: dict[str, datetime] = {}
    for code, at in _found_before(watch):
        times[code] += 1
        last[code] = max(at, last.get(code, at))
    names = dict(FailureMode.objects.filter(code__in=watch.failure_modes).values_list("code", "name"))
    ranked = rank([code for code in watch.failure_modes if code in names], times)
    return [
        {
            "code": one.code,
            "name": names[one.code],
            "times": one.times,
            "last_on": last[one.code].astimezone(watch.kiln.mill.zone).date().isoformat() if one.code in last else None,
        }
        for one in ranked
    ]


def _found_before(watch: Watch) -> Iterable[tuple[str, datetime]]:
    """Return (failure mode, when) of defects, stops and exchanges of the suspect."""
    if watch.component_id:
        own = Q(component=watch.component_id)
    else:
        own = Q(component__kiln=watch.kiln_id, component__kind=watch.component_kind_id)
    known = own & Q(failure_mode__isnull=False)
    for code, at in defects_about(watch).filter(known).values_list("failure_mode__code", "found_at"):
        yield code, at
    for code, at in Downtime.objects.filter(known).values_list("failure_mode__code", "start_at"):
        yield code, at
    for code, removed_at in Fitting.objects.filter(known).values_list("failure_mode__code", "removed_at"):
        if removed_at is not None:
            yield code, removed_at


def _suspects_told(firing: Firing) -> Sentences:
    modes = [_suspect_told(one) for one in firing.suspects[:3]]
    return (Sentence.of("watch.suspects", modes=modes),) if modes else ()


def _suspect_told(one: dict[str, object]) -> Sentence:
    if not one["times"]:
        return Sentence.of("watch.suspect", name=str(one["name"]))
    last_on, times = datetime.fromisoformat(str(one["last_on"])).date(), int(str(one["times"]))
    return Sentence.of("watch.suspect_found", name=str(one["name"]), last_on=last_on, count=times)
