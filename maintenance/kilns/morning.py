"""What the Kilns page says this morning: a card for each chamber, and one sentence over all of them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import inf

from django.db.models import Count, F, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from maintenance.door.warnings import inside_words
from maintenance.entry.bars import bars_to_entry
from maintenance.entry.now import EntryNow, entry_now
from maintenance.models import Firing, Placement, WorkOrder
from maintenance.orders.supply import missing_parts
from plant import clock
from plant.charges.calculations.known import Told
from plant.charges.calculations.openings import Opening
from plant.frame.figures import span
from plant.frame.units import volume_in
from plant.kilns.calculations.kiln_state import KilnState
from plant.kilns.due_words import due_words
from plant.kilns.kilns_now import KilnNow, kilns_now
from plant.models import Kiln, Mill

DUE_SOON = timedelta(days=7)

STATE_WORDS: dict[KilnState, Promise | str] = {
    KilnState.LOADING: gettext_lazy("loading"),
    KilnState.HEATING_UP: gettext_lazy("heating up"),
    KilnState.DRYING: gettext_lazy("drying"),
    KilnState.CONDITIONING: gettext_lazy("conditioning"),
    KilnState.COOLING: gettext_lazy("cooling"),
    KilnState.UNLOADING: gettext_lazy("unloading"),
    KilnState.WAITING_LOADED: gettext_lazy("loaded, waiting"),
    KilnState.OPEN_AND_EMPTY: gettext_lazy("open and empty"),
    KilnState.NO_RECORD: gettext_lazy("no charge is on record"),
    KilnState.NO_TIMBER: gettext_lazy("no timber"),
    KilnState.PLANNED_DOWN: gettext_lazy("planned stop"),
    KilnState.STOPPED: gettext_lazy("stopped"),
}


@dataclass(frozen=True, slots=True)
class Tag:
    """A short remark on a card; ``look`` is sound, mind, alarm or steam."""

    look: str
    text: str


@dataclass(slots=True)
class Card:
    """One chamber of the strip; ``look`` is the state as which it is drawn."""

    now: KilnNow
    word: str
    look: KilnState
    lines: list[str]
    tags: list[Tag] = field(default_factory=list)
    jobs: list[Placement] = field(default_factory=list)

    @property
    def kiln(self) -> Kiln:
        """The kiln."""
        return self.now.kiln


@dataclass(frozen=True, slots=True)
class Morning:
    """All cards, and the sentence; ``title`` names the hour of the day at the mill."""

    cards: list[Card]
    sentence: str
    title: str

    def chosen(self, tag: str | None) -> Card | None:
        """Return the card asked for, else the chamber that is open now or opens next."""
        asked = next((card for card in self.cards if card.kiln.tag == tag), None)
        return asked or min(self.cards, key=_opens_at, default=None)


def _opens_at(card: Card) -> tuple[bool, float]:
    """Order chambers with work in their opening first, then by when they open."""
    opening = card.now.opening
    return not card.jobs, opening.start_at.timestamp() if opening else inf


def morning(mill: Mill, now: datetime) -> Morning:
    """Look at every kiln in use; a fixed number of queries."""
    stands = kilns_now(Kiln.objects.in_use().select_related("mill"), now)
    inside = entry_now()
    cards = [_card(stand, inside.get(stand.kiln.pk), mill, now) for stand in stands]
    jobs = _placed_jobs(cards)
    barred = _barred()
    due = _due_counts(now + DUE_SOON)
    notices = _notice_counts(now)
    too_late = _placed_too_late(now)
    end_of_day = clock.start_of_day(clock.today(mill.zone) + timedelta(days=1), mill.zone)
    for card in cards:
        card.jobs = jobs_in(card.now.opening, jobs[card.kiln.pk])
        card.tags = _tags(card, barred, inside, due, mill, now, end_of_day)
        if count := notices.get(card.kiln.pk, 0):
            card.tags.append(Tag("mind", ngettext("%d hint of a watch", "%d hints of watches", count) % count))
        if card.kiln.pk in too_late:
            card.tags.insert(0, Tag("alarm", _("safety work placed too late")))
    sentence = _sentence(cards, barred, inside, too_late, end_of_day, now)
    return Morning(cards, sentence, title_at(now.astimezone(mill.zone)))


def title_at(local: datetime) -> str:
    """Name the time of day as people at the mill say it."""
    names = ((5, _("Tonight")), (12, _("This morning")), (17, _("This afternoon")), (22, _("This evening")))
    return next((name for until, name in names if local.hour < until), _("Tonight"))


def jobs_of_today(cards: Iterable[Card], end_of_day: datetime) -> list[Placement]:
    """Return what the lists of all chambers hold that are open or open today: these jobs are what the head counts."""
    return [job for card in cards if _opens_by(card.now, end_of_day) for job in card.jobs]


def say_state(stand: KilnNow, entry: EntryNow | None) -> str:
    """Say what a kiln is doing: that people may be in it comes before whatever the charge record says."""
    return _("open for entry") if entry else str(STATE_WORDS[stand.state.state])


def drawn_state(stand: KilnNow, entry: EntryNow | None) -> KilnState:
    """Return the state as which a kiln is drawn: nobody shall see air moving where people are inside."""
    return KilnState.OPEN_AND_EMPTY if entry else stand.state.state


def record_words(stand: KilnNow, now: datetime) -> str:
    """Say what the charge record says of a kiln that is open for entry."""
    said = ", ".join(part for part in (str(STATE_WORDS[stand.state.state]), progress(stand, now)) if part)
    return _("by the charge record: %(state)s") % {"state": said}


def _card(stand: KilnNow, entry: EntryNow | None, mill: Mill, now: datetime) -> Card:
    lines = _lines(stand, mill, now)
    if entry:
        lines = [inside_words(entry), record_words(stand, now), *lines[1:]]
    return Card(stand, say_state(stand, entry), drawn_state(stand, entry), lines)


def when(at: datetime, now: datetime) -> str:
    """Say an instant as briefly as is clear: 13:00, Thu 13:00, 3 Mar."""
    local, local_now = timezone.localtime(at), timezone.localtime(now)
    if local.date() == local_now.date():
        return date_format(local, "H:i")
    return date_format(local, "D H:i" if abs((local.date() - local_now.date()).days) < 7 else "j M")


def _lines(stand: KilnNow, mill: Mill, now: datetime) -> list[str]:
    """Say how far it is, what is inside, and what comes."""
    state = stand.state.state
    lines = []
    if state in (KilnState.STOPPED, KilnState.PLANNED_DOWN):
        lines.append(_stood(stand, now))
        if stand.state.cause:
            lines.append(stand.state.cause)
    elif stand.is_untold:
        lines.append(due_words(stand))
    elif stand.phase is not None:
        lines.append(progress(stand, now))
    elif stand.is_unrecorded:
        lines.append(_("what is in it is not known"))
    elif stand.state.since_at:
        lines.append(_("since %(when)s") % {"when": when(stand.state.since_at, now)})
    if stand.charge:
        lines.append(_("%(species)s %(mm)d mm") % {"species": stand.charge.species, "mm": stand.charge.thickness_mm})
    elif stand.next_charge and stand.next_load_at:
        words = _("loading was due %(when)s") if stand.next_load_at < now else _("loading due %(when)s")
        lines.append(words % {"when": when(stand.next_load_at, now)})
    else:
        lines.append(_("no charge planned"))
    if stand.charge and stand.state.capacity_thousandths not in (0, 1000):
        lines.append(_("slowed: %(share)d %% of its capacity") % {"share": stand.state.capacity_thousandths // 10})
    return lines


def _stood(stand: KilnNow, now: datetime) -> str:
    since_at, until_at = stand.state.since_at, stand.stop.end_at if stand.stop else None
    since = _("since %(when)s") % {"when": when(since_at, now)} if since_at else ""
    until = _("until %(when)s") % {"when": when(until_at, now)} if until_at else _perhaps_until(stand, now)
    return " ".join(part for part in (since, until) if part)


def _perhaps_until(stand: KilnNow, now: datetime) -> str:
    if stand.lasting is None:
        return ""
    return _("perhaps until %(when)s") % {"when": when(stand.lasting.end_at, now)}


def progress(stand: KilnNow, now: datetime) -> str:
    """Say how far the phase is: day 6 of 9, hour 7 of 9, until 13:00."""
    phase = stand.phase
    if stand.is_untold and stand.due:
        is_to_open = stand.due.what is Told.OPENED
        words = _("should be open since %(when)s") if is_to_open else _("should be out since %(when)s")
        return words % {"when": when(stand.due.since_at, now)}
    is_stopped = stand.state.state in (KilnState.STOPPED, KilnState.PLANNED_DOWN)
    if phase is None or phase.end_at is None or is_stopped:
        return ""
    until = _("until %(when)s") % {"when": when(phase.end_at, now)}
    hours = (phase.end_at - phase.start_at) / timedelta(hours=1)
    done = (now - phase.start_at) / timedelta(hours=1)
    if stand.state.state is KilnState.DRYING and hours >= 48:
        return _("day %(day)d of %(days)d") % {"day": done // 24 + 1, "days": max(-(-hours // 24), done // 24 + 1)}
    if stand.state.state in (KilnState.HEATING_UP, KilnState.DRYING):
        return _("hour %(hour)d of %(hours)d, %(until)s") % {
            "hour": done + 1,
            "hours": max(-(-hours // 1), done + 1),
            "until": until,
        }
    return until


def _tags(
    card: Card,
    barred: dict[int, str],
    inside: dict[int, EntryNow],
    due: dict[int, int],
    mill: Mill,
    now: datetime,
    end_of_day: datetime,
) -> list[Tag]:
    tags = []
    pk = card.kiln.pk
    if pk in barred:
        tags.append(Tag("alarm", _("no entry: %(why)s") % {"why": barred[pk]}))
    if pk in inside and pk in barred:
        tags.append(
            Tag(
                "alarm", _("not closed since %(when)s: count everybody out") % {"when": when(inside[pk].permit.at, now)}
            )
        )
    elif pk in inside:
        tags.append(Tag("alarm", _("open for entry since %(when)s") % {"when": when(inside[pk].permit.at, now)}))
    if pk in barred and waits_for_timber(card.now):
        tags.append(Tag("alarm", find_everybody_words()))
    if card.now.lost_m3 is not None:
        look = "mind" if card.now.state.state is KilnState.PLANNED_DOWN else "alarm"
        tags.append(Tag(look, _("%(volume)s lost so far") % {"volume": volume_in(card.now.lost_m3, mill, 0)}))
    if _is_load_overdue(card.now, now):
        tags.append(Tag("mind", _("loading is overdue")))
    else:
        tags += _opening_tag(card.now, now, end_of_day)
    if count := due.get(pk, 0):
        tags.append(Tag("sound", ngettext("%d due this week", "%d due this week", count) % count))
    return tags or [Tag("sound", _("nothing due this week"))]


def waits_for_timber(stand: KilnNow) -> bool:
    """Say whether the kiln is being loaded, is loaded and waits, or has a charge to come and nobody knows it loaded."""
    if stand.state.state in (KilnState.OPEN_AND_EMPTY, KilnState.NO_RECORD):
        return stand.next_load_at is not None
    return stand.state.state in (KilnState.LOADING, KilnState.WAITING_LOADED)


def find_everybody_words() -> str:
    """Say what comes before timber or heat where a way out is shut: somebody may be inside."""
    return _("do not load or start with anybody near: find everybody first")


def _is_load_overdue(stand: KilnNow, now: datetime) -> bool:
    """Say whether no charge is known in the kiln, but one should be: loading may begin at any moment."""
    is_due = stand.next_load_at is not None and stand.next_load_at < now
    return is_due and stand.state.state in (KilnState.OPEN_AND_EMPTY, KilnState.NO_RECORD)


def _opening_tag(stand: KilnNow, now: datetime, end_of_day: datetime) -> list[Tag]:
    opening = stand.opening
    if opening is None or opening.is_unrecorded:
        return []
    if opening.is_now:
        left = span(opening.end_at - now) if opening.end_at else _("no end planned")
        return [Tag("mind", _("opening now: %(length)s") % {"length": left})]
    if opening.start_at >= end_of_day:
        return [Tag("steam", _("opens %(when)s") % {"when": when(opening.start_at, now)})]
    length = span(opening.end_at - opening.start_at) if opening.end_at else _("no end planned")
    return [Tag("mind", _("opening at %(when)s: %(length)s") % {"when": when(opening.start_at, now), "length": length})]


def _placed_jobs(cards: Sequence[Card]) -> dict[int, list[Placement]]:
    """Return what is placed up to the end of the next opening of each kiln, by kiln; three queries."""
    spans = [
        Q(work_order__kiln=card.kiln, end_at__gt=opening.start_at)
        & (Q(start_at__lt=opening.end_at) if opening.end_at else Q())
        for card in cards
        if (opening := card.now.opening)
    ]
    if not spans:
        return defaultdict(list)
    found = Placement.objects.filter(work_order__in=WorkOrder.objects.unfinished())
    jobs: dict[int, list[Placement]] = defaultdict(list)
    wanted = spans[0]
    for one in spans[1:]:
        wanted |= one
    related = found.filter(wanted).select_related("work_order__component__kind", "work_order__sheet__kind")
    for job in related.prefetch_related("work_order__assignments__person").order_by("start_at", "work_order__number"):
        jobs[job.work_order.kiln_id].append(job)
    return jobs


def jobs_in(opening: Opening | None, jobs: Iterable[Placement]) -> list[Placement]:
    """Return the jobs whose place lies in an opening."""
    if opening is None:
        return []
    return [
        job
        for job in jobs
        if job.end_at > opening.start_at and (opening.end_at is None or job.start_at < opening.end_at)
    ]


def _barred() -> dict[int, str]:
    """Return kiln -> why nobody may enter."""
    return {kiln_id: bars[0].what for kiln_id, bars in bars_to_entry(Kiln.objects.in_use()).items()}


def _placed_too_late(now: datetime) -> set[int]:
    """Return the kilns with safety work whose place lies after its safety date; a date that is over is said anyway."""
    late = WorkOrder.objects.unfinished().filter(safety_at__gte=now, placement__end_at__gt=F("safety_at"))
    return set(late.values_list("kiln", flat=True))


def _due_counts(until: datetime) -> dict[int, int]:
    """Return kiln -> how much work falls due until then, overdue work included."""
    due = WorkOrder.objects.unfinished().filter(due_at__lt=until).order_by()
    return dict(due.values_list("kiln").annotate(count=Count("pk")))


def _notice_counts(now: datetime) -> dict[int, int]:
    """Return kiln -> how many hints of its watches want a look."""
    wanted = Firing.objects.notices(now).order_by()
    return dict(wanted.values_list("watch__kiln").annotate(count=Count("pk")))


def _sentence(
    cards: Sequence[Card],
    barred: dict[int, str],
    inside: Mapping[int, EntryNow],
    too_late: set[int],
    end_of_day: datetime,
    now: datetime,
) -> str:
    """Say what matters: safety first, what is stopped, what opens today, what fits in, and what waits for a part."""
    if not cards:
        return _("No kiln is on record yet.")
    unknown = [card.kiln.tag for card in cards if card.now.is_unrecorded]
    open_today = [card for card in cards if _is_known_open_by(card.now, end_of_day)]
    jobs = [job.work_order for job in jobs_of_today(cards, end_of_day)]
    behind_bar = sum(order.kiln_id in barred for order in jobs)
    safety = [*_safety_words(cards, barred, too_late, now), *_open_door_words(inside)]
    parts = [*safety, *_stopped_words(cards, now)]
    if unknown:
        words = _("No charge is on record of %(kilns)s: whether timber is inside is not known.")
        parts.append(words % {"kilns": get_text_list(unknown, _("and"))})
    if len(unknown) < len(cards):
        parts.append(_open_words(len(open_today)))
    if open_today or jobs:
        parts.append(_fit_words(len(jobs), len(missing_parts(jobs)), behind_bar))
    return " ".join(parts)


def _opens_by(stand: KilnNow, end_of_day: datetime) -> bool:
    """Say whether a chamber is open or opens before the day is over."""
    is_open = stand.state.state is KilnState.OPEN_AND_EMPTY
    return is_open or (stand.opening is not None and stand.opening.start_at < end_of_day)


def _is_known_open_by(stand: KilnNow, end_of_day: datetime) -> bool:
    """Say the same where a charge is on record before: else nothing says that the chamber is open."""
    is_open = stand.state.state is KilnState.OPEN_AND_EMPTY
    is_told = stand.opening is not None and not stand.opening.is_unrecorded
    return is_open or (is_told and _opens_by(stand, end_of_day))


def _stopped_words(cards: Sequence[Card], now: datetime) -> list[str]:
    """Say what is stopped, and until when each may stand as far as is known."""
    stands = [card.now for card in cards if card.now.state.state is KilnState.STOPPED]
    if not stands:
        return []
    tags = get_text_list([one.kiln.tag for one in stands], _("and"))
    until = _("%(kiln)s may stand until %(when)s.")
    return [
        ngettext("%s is stopped.", "%s are stopped.", len(stands)) % tags,
        *(
            until % {"kiln": one.kiln.tag, "when": when(one.lasting.end_at, now)}
            for one in stands
            if one.lasting is not None
        ),
    ]


def _safety_words(cards: Sequence[Card], barred: dict[int, str], too_late: set[int], now: datetime) -> list[str]:
    words = []
    shut = [card.kiln.tag for card in cards if card.kiln.pk in barred]
    if shut:
        tags = get_text_list(shut, _("and"))
        words.append(ngettext("Nobody may enter %s.", "Nobody may enter %s.", len(shut)) % tags)
    late = WorkOrder.objects.unfinished().filter(safety_at__lt=now).count()
    if late:
        words.append(ngettext("%d safety job is overdue.", "%d safety jobs are overdue.", late) % late)
    waiting = [card.kiln.tag for card in cards if card.kiln.pk in too_late]
    if waiting:
        words.append(_("Safety work on %s is placed after its date.") % get_text_list(waiting, _("and")))
    return words


def _open_door_words(inside: Mapping[int, EntryNow]) -> list[str]:
    """Say which chambers are open for entry, and how many people are in each."""
    stands = sorted(inside.values(), key=lambda stand: stand.permit.kiln.tag)
    return [
        _("%(kiln)s is open for entry, %(count)d inside.") % {"kiln": stand.permit.kiln.tag, "count": stand.count}
        for stand in stands
    ]


def _open_words(count: int) -> str:
    if not count:
        return _("No chamber opens today.")
    return ngettext("%d chamber is open or will open today.", "%d chambers are open or will open today.", count) % count


def _fit_words(jobs: int, waiting: int, behind_bar: int) -> str:
    """Count the jobs in these openings, and those of them that wait: for a part, or for a chamber to be safe."""
    if not jobs:
        return _("No job has its place in them yet.")
    if not waiting and not behind_bar:
        return ngettext("%d job fits in; its parts are there.", "%d jobs fit in; their parts are there.", jobs) % jobs
    said = [ngettext("%d job has its place in them", "%d jobs have their place in them", jobs) % jobs]
    if behind_bar:
        words = ngettext("%d is where nobody may enter", "%d are where nobody may enter", behind_bar)
        said.append(words % behind_bar)
    if waiting:
        said.append(ngettext("%d waits for a part", "%d wait for a part", waiting) % waiting)
    return ", ".join(said) + "."
