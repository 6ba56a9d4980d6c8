"""The track of one kiln: charges as one picture, openings, stops and jobs as pieces upon it."""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache

from django.utils.dates import MONTHS_3, WEEKDAYS_ABBR
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from maintenance.board.scale import UNITS, Scale
from maintenance.board.seen import ChargeSeen, JobSeen, KilnSeen, StopSeen
from plant.models import Kiln, Phase

# The bracket under a charge's end reaches one standard deviation to each side: the end lies in it two times in three.
SPREAD_SDS = 1
# A block with its number takes this share of the board at least, so that blocks beside it go into another line.
BLOCK_SHARE = 0.095
PHASE_HEIGHT = 10


@dataclass(frozen=True)
class Piece:
    """Something on a kiln's track; left and width in per cent of the board."""

    kind: str
    left: str
    width: str
    words: str
    label: str = ""
    key: str = ""
    #: By which words its jobs are found.
    find: str = ""
    job: JobSeen | None = None
    charge: ChargeSeen | None = None
    lane: int = 0

    @property
    def begin_at(self) -> datetime | None:
        """When a charge begins that may be moved."""
        return self.charge.phases[0][1] if self.charge and self.charge.is_planned else None


@dataclass
class Row:
    """One kiln on the board."""

    kiln: Kiln
    #: (kind, SVG path) of the phases, of free openings and of the spread of charges' ends.
    paths: list[tuple[str, str]] = field(default_factory=list)
    spread: str = ""
    charges: list[Piece] = field(default_factory=list)
    downs: list[Piece] = field(default_factory=list)
    gaps: list[Piece] = field(default_factory=list)
    stops: list[Piece] = field(default_factory=list)
    jobs: list[Piece] = field(default_factory=list)
    running: list[Piece] = field(default_factory=list)
    lanes: int = 1


def in_order(row: Row) -> tuple[tuple[str, int], ...]:
    """Sort kilns as people count: K2 before K10."""
    return tuple((word, int(number or 0)) for word, number in re.findall(r"(\D*)(\d*)", row.kiln.tag))


def say_when(at: datetime, scale: Scale) -> str:
    """Say an instant as the format "D j M H:i" does; by hand, for there may be thousands on a board."""
    local, (days, months) = at.astimezone(scale.zone), _names(get_language() or "")
    return f"{days[local.weekday()]} {local.day} {months[local.month]} {local.hour:02}:{local.minute:02}"


@lru_cache(maxsize=16)
def _names(language: str) -> tuple[dict[int, str], dict[int, str]]:
    """Return the short names of days and months in the language that is spoken now."""
    days = {number: str(word) for number, word in WEEKDAYS_ABBR.items()}
    return days, {number: str(word).title() for number, word in MONTHS_3.items()}


def draw_row(seen: KilnSeen, scale: Scale, marked: Collection[str] = ()) -> Row:
    """Draw a kiln; ``marked`` are numbers of jobs that differ from another plan."""
    row = Row(seen.kiln)
    row.paths = list(_phase_paths(seen.charges, scale))
    row.spread = _spreads(seen.charges, scale)
    row.downs = [
        Piece(down.kind, scale.left(down.start_at), scale.width(down.start_at, until_at), words, down.cause)
        for down in seen.downs
        for until_at in [down.end_at or seen.down_until.get(down.pk, scale.to_at)]
        if scale.shows(down.start_at, until_at)
        for words in [f"{down.get_kind_display()}: {down.cause}"]
    ]
    inside, others = _by_gap(seen)
    row.gaps = list(_gaps(seen, inside, scale, marked))
    if scale.is_near:
        row.charges = list(_charges(seen.charges, scale))
        row.stops = [_stop(seen, one, scale) for one in seen.stops if scale.shows(one.lock_out_at, one.ready_at)]
        row.jobs, row.lanes = _blocks(seen.jobs, scale, marked)
    else:
        free = [(gap.start_at, gap.end_at or scale.to_at) for gap in seen.gaps if gap.after_charge_id not in inside]
        row.paths.append(("free", scale.boxes(free, PHASE_HEIGHT)) if not scale.is_daywise else ("free", ""))
        row.running = list(_running(others, scale, marked))
    row.paths = [(kind, path) for kind, path in row.paths if path]
    return row


def _phase_paths(charges: Iterable[ChargeSeen], scale: Scale) -> Iterator[tuple[str, str]]:
    spans: dict[str, list[tuple[datetime, datetime]]] = defaultdict(list)
    for charge in charges:
        for kind, start_at, end_at in charge.phases:
            spans["loading" if kind == "unloading" else kind].append((start_at, end_at or scale.to_at))
    for kind in ("loading", "heating_up", "drying", "conditioning", "cooling"):
        path = scale.boxes(spans[kind], PHASE_HEIGHT)
        if kind == "conditioning":
            path += "".join(_stripes(spans[kind], scale))
        yield kind, path


def _stripes(spans: Iterable[tuple[datetime, datetime]], scale: Scale) -> Iterator[str]:
    """Conditioning is told from drying by its lines, not by its tint alone."""
    for start_at, end_at in spans:
        if scale.shows(start_at, end_at):
            left, right = scale.unit(start_at), scale.unit(end_at)
            yield f"M{left} 3H{right}M{left} 7H{right}"


def _spreads(charges: Iterable[ChargeSeen], scale: Scale) -> str:
    parts = []
    for charge in charges:
        end_at = charge.phases[-1][2] if charge.phases else None
        if end_at is None or not charge.end_sd_h:
            continue
        apart = timedelta(hours=SPREAD_SDS * charge.end_sd_h)
        if scale.shows(end_at - apart, end_at + apart):
            parts.append(f"M{scale.unit(end_at - apart)} 0V8H{scale.unit(end_at + apart)}V0")
    return "".join(parts)


def _charges(charges: Iterable[ChargeSeen], scale: Scale) -> Iterator[Piece]:
    for charge in charges:
        start_at, end_at = charge.phases[0][1], charge.phases[-1][2] or scale.to_at
        if not scale.shows(start_at, end_at):
            continue
        said = [
            _("%(phase)s until %(end)s") % {"phase": Phase.Kind(kind).label, "end": say_when(until, scale)}
            for kind, _from_at, until in charge.phases
            if until
        ]
        words = _("charge %(number)s: %(phases)s") % {"number": charge.number, "phases": ", ".join(said)}
        if charge.held_min:
            hours = {"words": words, "hours": charge.held_min / 60}
            words = _("%(words)s; loaded %(hours).1f h later than the programme says") % hours
        if charge.end_sd_h:
            words = _("%(words)s; its end usually shifts by %(hours).0f h") % {"words": words, "hours": charge.end_sd_h}
        left, width = scale.left(start_at), scale.width(start_at, end_at)
        yield Piece("charge", left, width, words, charge.number, charge=charge)


def _by_gap(seen: KilnSeen) -> tuple[dict[int | None, list[JobSeen]], list[JobSeen]]:
    """Sort jobs: those that lie in an opening, by the charge before it, and all others."""
    known = {gap.after_charge_id for gap in seen.gaps}
    inside: dict[int | None, list[JobSeen]] = defaultdict(list)
    others = []
    for job in seen.jobs:
        if job.is_inside and job.during_charge_id is None and job.after_charge_id in known:
            inside[job.after_charge_id].append(job)
        else:
            others.append(job)
    return dict(inside), others


def _gaps(
    seen: KilnSeen, inside: dict[int | None, list[JobSeen]], scale: Scale, marked: Collection[str]
) -> Iterator[Piece]:
    for gap in seen.gaps:
        end_at = gap.end_at or max(scale.to_at, gap.start_at)
        jobs = inside.get(gap.after_charge_id, [])
        # Far away, free openings are part of the picture: a thousand links would help nobody.
        if not scale.shows(gap.start_at, end_at) or not (jobs or scale.is_daywise):
            continue
        said = _("%(kiln)s open and empty, %(start)s to %(end)s: %(jobs)s")
        if gap.after_charge_id is None:
            said = _("%(kiln)s, no charge is on record before, %(start)s to %(end)s: %(jobs)s")
        words = said % {
            "kiln": seen.kiln.tag,
            "start": say_when(gap.start_at, scale),
            "end": say_when(gap.end_at, scale) if gap.end_at else _("no further charge planned"),
            "jobs": _count(len(jobs)) if jobs else _("nothing placed"),
        }
        kind, label = ("jobs", _gap_label(jobs, scale)) if jobs else ("free", "")
        if any(job.is_barred for job in jobs):
            kind, label = "jobs barred", f"⚠ {label}" if label else label
            words = _("%(words)s; nobody may enter") % {"words": words}
        if broken := sum(bool(job.broken) for job in jobs):
            kind, label = f"{kind} broken", f"⚠ {label}" if label and "barred" not in kind else label
            more = ngettext("%d place no longer holds", "%d places no longer hold", broken) % broken
            words = f"{words}; {more}"
        if any(job.number in marked for job in jobs):
            kind += " differs"
        find = "" if scale.is_near else "|".join(job.find for job in jobs)
        width = scale.width(gap.start_at, end_at)
        yield Piece(kind, scale.left(gap.start_at), width, words, label, gap.key, find)


def _count(jobs: int) -> str:
    return ngettext("%d job", "%d jobs", jobs) % jobs


def _gap_label(jobs: Sequence[JobSeen], scale: Scale) -> str:
    if scale.is_near:
        return ""
    if not scale.is_daywise:
        return str(len(jobs))
    return jobs[0].number + (f" +{len(jobs) - 1}" if len(jobs) > 1 else "")


def _stop(seen: KilnSeen, one: StopSeen, scale: Scale) -> Piece:
    facts = {
        "kiln": seen.kiln.tag,
        "start": say_when(one.lock_out_at, scale),
        "work": say_when(one.ready_to_work_at, scale),
        "end": say_when(one.ready_at, scale),
        "who": one.who or _("nobody is named yet"),
    }
    words = _("%(kiln)s is to be locked out from %(start)s (%(who)s), work from %(work)s, ready again %(end)s") % facts
    return Piece(
        "named" if one.who else "open",
        scale.left(one.lock_out_at),
        scale.width(one.lock_out_at, one.ready_at),
        words,
        _picture_of_stop(one),
        find=one.who.lower(),
    )


def _picture_of_stop(one: StopSeen) -> str:
    """Draw set-up and making ready as boxes in the width of the stop."""
    whole = (one.ready_at - one.lock_out_at) or timedelta(minutes=1)
    set_up = round(UNITS * ((one.ready_to_work_at - one.lock_out_at) / whole))
    restoring = round(UNITS * ((one.restoring_at - one.lock_out_at) / whole))
    return f"M0 0h{set_up}v10H0zM{restoring} 0H{UNITS}v10H{restoring}z"


def _blocks(jobs: Iterable[JobSeen], scale: Scale, marked: Collection[str]) -> tuple[list[Piece], int]:
    """Give each job a block; blocks that would cover each other stand in lines below each other."""
    room = BLOCK_SHARE * (scale.to_at - scale.from_at)
    ends: list[datetime] = []
    blocks = []
    for job in sorted(jobs, key=lambda job: (job.start_at, job.number)):
        if not scale.shows(job.start_at, job.end_at):
            continue
        lane = next((n for n, end_at in enumerate(ends) if end_at <= job.start_at), len(ends))
        ends[lane : lane + 1] = [max(job.end_at, job.start_at + room)]
        left, width = scale.left(job.start_at), scale.width(job.start_at, job.end_at)
        words = say_job(job, scale)
        kind = " ".join(_kinds(job, marked))
        blocks.append(Piece(kind, left, width, words, job.number, find=job.find, job=job, lane=lane))
    return blocks, max(len(ends), 1)


def _kinds(job: JobSeen, marked: Collection[str]) -> Iterator[str]:
    yield "inside" if job.is_inside else "outside"
    for name, is_so in (
        ("safety", job.is_safety),
        ("pinned", job.is_pinned),
        ("barred", job.is_barred),
        ("broken", bool(job.broken)),
        ("still", not job.may_move),
        ("differs", job.number in marked),
    ):
        if is_so:
            yield name


def say_job(job: JobSeen, scale: Scale) -> str:
    """Say in one line what a block stands for."""
    facts = {
        "number": job.number,
        "title": job.title,
        "kiln": job.kiln,
        "start": say_when(job.start_at, scale),
        "end": f"{job.end_at.astimezone(scale.zone):%H:%M}",
    }
    said = [_("%(number)s %(title)s, %(kiln)s, %(start)s to %(end)s") % facts]
    said += [", ".join(job.people)] if job.people else []
    if job.during_charge_id is not None:
        said.append(_("interrupts the charge") if job.is_inside else _("while running"))
    said += [_("keeps its place")] if job.is_pinned else []
    said += [_("safety work")] if job.is_safety else []
    said += [_("nobody may enter")] if job.is_barred else []
    said += [_("under way")] if job.is_under_way else []
    said += [_("its place no longer holds: %(why)s") % {"why": job.broken}] if job.broken else []
    return "; ".join(said)


def _running(jobs: Iterable[JobSeen], scale: Scale, marked: Collection[str]) -> Iterator[Piece]:
    """Give what is done outside openings a mark: jobs on one charge share it, jobs for any time have their own."""
    by_charge: dict[int | str, list[JobSeen]] = defaultdict(list)
    for job in jobs:
        if scale.shows(job.start_at, job.end_at):
            by_charge[job.during_charge_id if job.during_charge_id is not None else job.number].append(job)
    for key, group in by_charge.items():
        words = say_job(group[0], scale)
        if len(group) > 1:
            words = _("%(first)s; and %(jobs)s more on this charge") % {"first": words, "jobs": _count(len(group) - 1)}
        kind = "differs" if any(job.number in marked for job in group) else ""
        kind += " broken" if any(job.broken for job in group) else ""
        label, page = ("", group[0].number) if isinstance(key, str) else (str(len(group)), f"during-{key}")
        yield Piece(kind, scale.left(group[0].start_at), "0", words, label, page, "|".join(job.find for job in group))
