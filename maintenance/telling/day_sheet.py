"""The work of one day on paper: by kiln, or a sheet for each person; cautions first, boxes to be filled in."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Spacer

from maintenance.models import Caution, KilnStop, WorkOrder
from maintenance.orders.paper_blocks import Tick, cautions_block, component_words, strong_line
from maintenance.telling.my_week import (
    DAY,
    Entry,
    LockOut,
    OwnJob,
    as_lock_outs,
    as_own,
    in_order,
    is_locked_out_on,
    jobs_of_standing_kilns,
    placed_between,
    say_moment,
    with_crew,
)
from plant import clock
from plant.frame.figures import quantity
from plant.models import Kiln, Mill, Person
from plant.pictures.paper import INK, Heading, Paper, RowTable, grid, section, text

WIDTHS_MM = (21.0, 62.0, 40.0, 31.0, 24.0)


class DaySheet(Paper):
    """All placed jobs and lock-outs of a day."""

    is_safety_relevant = True

    def __init__(
        self,
        on: date,
        jobs: Sequence[OwnJob],
        mill: Mill,
        *,
        lock_outs: Sequence[LockOut] = (),
        by_person: bool = False,
        person: Person | None = None,
    ) -> None:
        super().__init__(mill.name, clock.now())
        self.on, self.by_person, self.person = on, by_person, person
        # Work at a running kiln is not handed out where the kiln stands.
        self.standing = jobs_of_standing_kilns(jobs, clock.now())
        self.jobs = [job for job in jobs if job not in self.standing]
        self.lock_outs = list(lock_outs)

    @classmethod
    def of(cls, on: date, mill: Mill, *, by_person: bool = False, person: Person | None = None) -> "DaySheet":
        """Read the day; the number of queries does not depend on the number of jobs."""
        start_at, end_at = clock.start_of_day(on, mill.zone), clock.start_of_day(on + DAY, mill.zone)
        orders = WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN)
        if person is not None:
            orders = orders.of_person(person)
        jobs = as_own(with_crew(orders.filter(placed_between(start_at, end_at))))
        stops = KilnStop.objects.between(start_at, end_at)
        lock_outs = as_lock_outs(stops if person is None else stops.filter(person=person))
        if by_person or person is not None:
            # A sheet for a person names what that person does on the day, not what still is locked out.
            lock_outs = [one for one in lock_outs if is_locked_out_on(one, start_at, end_at)]
        return cls(on, jobs, mill, lock_outs=lock_outs, by_person=by_person, person=person)

    @property
    def title(self) -> str:
        """The day."""
        return _("Day sheet, %(day)s") % {"day": date_format(self.on, "l j F Y")}

    def kilns(self) -> list[Kiln]:
        """Those with work or a lock-out."""
        entries: list[Entry] = [*self.jobs, *self.lock_outs]
        return list({one.kiln.pk: one.kiln for one in entries}.values())

    def kiln_tags(self) -> list[str]:
        """Those with work or a lock-out."""
        return [kiln.tag for kiln in self.kilns()]

    def story(self) -> list[Flowable]:
        """The day by kiln, or a sheet for each person that can be handed out alone."""
        if not self.jobs and not self.lock_outs and not self.standing:
            return self.empty()
        return list(self.for_people() if self.by_person else self.for_kilns())

    def empty(self) -> list[Flowable]:
        """Nothing is placed: say where work gets its place."""
        whose = _("No work is placed on this day.")
        if self.person is not None:
            whose = _("No work is placed for %(person)s on this day.") % {"person": self.person}
        return [
            Heading(self.title, size=15, above=0, below=4),
            text(whose, "lead"),
            text(_("Work gets its place under Openings."), "soft"),
        ]

    def for_kilns(self) -> Iterable[Flowable]:
        """One table a kiln, jobs in the order of time; before them who locks it out, and until when."""
        work: dict[int, list[OwnJob]] = defaultdict(list)
        for job in self.jobs:
            work[job.order.kiln_id].append(job)
        kilns = self.kilns()
        yield Heading(self.title, size=15, above=0, below=4)
        jobs, people = len(self.jobs), len({one.pk for job in self.jobs for one in job.others})
        counts = ngettext("%d job", "%d jobs", jobs) % jobs, ngettext("%d person", "%d people", people) % people
        kiln_count = ngettext("%d kiln", "%d kilns", len(kilns)) % len(kilns)
        yield text(", ".join((counts[0], kiln_count, counts[1])))
        yield from map(strong_line, self.not_done(self.standing))
        yield from self.cautions([*self.jobs, *self.lock_outs])
        for kiln in sorted(kilns, key=lambda kiln: kiln.pk):
            of_kiln = work[kiln.pk]
            yield from section(f"{kiln.tag} {kiln.name}".strip(), 42, size=13)
            locked = [one for one in self.lock_outs if one.kiln.pk == kiln.pk]
            for one in locked:
                yield from self._locked_out(one)
            if any(job.takes_lock_out for job in of_kiln):
                facts = {"out": kiln.lock_out_minutes, "back": kiln.restore_minutes}
                planned = _("Planned: %(out)d min to lock out and cool, %(back)d min to make ready again.") % facts
                yield text(planned, "soft")
                yield Spacer(1, 3)
            if of_kiln:
                yield self.table(of_kiln)

    def not_done(self, jobs: Sequence[OwnJob]) -> list[str]:
        """Say which jobs wait because their kiln stands."""
        words = _("%(kiln)s stands: %(number)s %(title)s waits until it runs.")
        return [words % {"kiln": job.kiln.tag, "number": job.order.number, "title": job.order.title} for job in jobs]

    def _locked_out(self, one: LockOut) -> Iterable[Flowable]:
        facts = {
            "kiln": one.kiln.tag,
            "who": one.stop.person,
            "from": say_moment(one.start_at, self.on),
            "until": say_moment(one.end_at, self.on),
            "ready": say_moment(one.stop.ready_at, self.on),
        }
        yield strong_line(_("%(who)s is to lock out %(kiln)s from %(from)s, to be done by %(until)s.") % facts)
        yield text(_("%(kiln)s is to be ready again at %(ready)s.") % facts)

    def for_people(self) -> Iterable[Flowable]:
        """A sheet for each person, with the cautions of that person's jobs and lock-outs."""
        work: dict[Person, list[Entry]] = defaultdict(list)
        for out in self.lock_outs:
            work[out.stop.person].append(out)
        for job in self.jobs:
            for one in job.others:
                if self.person in (None, one):
                    work[one].append(job)
        for job in self.standing:
            for one in job.others:
                if self.person in (None, one):
                    work.setdefault(one, [])
        alone: list[Entry] = [job for job in self.jobs if not job.others]
        sheets: list[tuple[str, Person | None, list[Entry]]] = [
            (one.name, one, in_order(entries)) for one, entries in sorted(work.items(), key=lambda item: item[0].name)
        ]
        if alone and self.person is None:
            sheets.append((_("Nobody yet"), None, alone))
        for number, (name, person, jobs) in enumerate(sheets):
            if number:
                yield PageBreak()
            yield Heading(name, size=15, above=0, below=2)
            yield text(date_format(self.on, "l j F Y"), "lead")
            own = [job for job in self.standing if (person in job.others if person else not job.others)]
            yield from map(strong_line, self.not_done(own))
            yield from self.cautions(jobs)
            yield Spacer(1, 6)
            if jobs:
                yield self.table(jobs, person=person, with_kiln=True)

    def cautions(self, jobs: Sequence[Entry]) -> list[Flowable]:
        """All cautions of some jobs, each once, in the order to read them."""
        # The same hazard asks for one thing at a kiln that is off and for another at one that runs.
        found: dict[tuple[int, str], Caution] = {}
        for job in sorted(jobs, key=lambda job: -len(job.cautions)):
            found |= {(one.pk, one.must_be_so): one for one in job.cautions if (one.pk, one.must_be_so) not in found}
        title = _("Read this first. Local codes and licensed trades come first; where they ask for more, do more.")
        return [Spacer(1, 6), cautions_block(title, found.values(), self.width), Spacer(1, 4)] if found else []

    def table(self, jobs: Sequence[Entry], person: Person | None = None, *, with_kiln: bool = False) -> Flowable:
        """Times, job, crew and parts, lock-out, and boxes for begin, end and initials."""
        rows = [
            (
                self._when(job, with_kiln=with_kiln),
                *(self._of_lock_out(job) if isinstance(job, LockOut) else _of_job(job, person)),
                [
                    block
                    for word in (_("begun"), _("ended"), _("initials"))
                    for block in (text(word, "soft"), Spacer(1, 9))
                ],
            )
            for job in jobs
        ]
        heads = (_("Time"), _("Job"), _("Crew and parts"), _("Before the start"), _("Fill in"))
        boxes = [("BOX", (4, row), (4, row), 0.6, INK) for row in range(1, len(rows) + 1)]
        return grid(heads, rows, WIDTHS_MM, extra=[*boxes, ("LINEBELOW", (0, 1), (-1, -1), 0.6, INK)])

    def _of_lock_out(self, one: LockOut) -> tuple[list[Flowable], ...]:
        """Say for which jobs a kiln is locked out, and when it is to be ready again; boxes to be ticked."""
        numbers = ", ".join(f"{job.number} {job.title}" for job in one.jobs)
        ready = _("Ready again: %(when)s") % {"when": say_moment(one.stop.ready_at, self.on)}
        what = [
            strong_line(_("Lock out %(kiln)s") % {"kiln": one.kiln.tag}),
            text(_("for %(jobs)s") % {"jobs": numbers}, "small"),
        ]
        before = [strong_line(_("Lock-out")), Tick(_("energies locked")), Tick(_("start tried"))]
        return what, [text(ready, "small")], before

    def _when(self, job: Entry, *, with_kiln: bool) -> list[Flowable]:
        start, end = (say_moment(at, self.on) if at else "" for at in (job.start_at, job.end_at))
        said: list[Flowable] = [strong_line(start), text(_("until %(end)s") % {"end": end}, "small")]
        return [strong_line(job.kiln.tag), *said] if with_kiln else said


def _of_job(job: OwnJob, person: Person | None) -> tuple[list[Flowable], ...]:
    return _what(job), _who_and_parts(job, person), _before(job)


def _what(job: OwnJob) -> list[Flowable]:
    order = job.order
    lines: list[Flowable] = [strong_line(order.title)]
    facts = [order.number, component_words(order.component) if order.component else ""]
    lines.append(text(" · ".join(fact for fact in facts if fact), "small"))
    lines.append(text(_("Kiln must be: %(state)s") % {"state": job.kiln_must_be}, "small"))
    if job.broken:
        lines.append(strong_line(_("Place no longer holds: ask the planner")))
        lines.append(text(job.broken, "small"))
    if order.is_safety:
        lines.append(strong_line(_("Safety work")))
    if order.state != WorkOrder.State.PLACED:
        lines.append(text(order.get_state_display(), "soft"))
    return lines


def _who_and_parts(job: OwnJob, person: Person | None) -> list[Flowable]:
    names = [one.name for one in job.others if one != person]
    if person is not None:
        said = _("with %(names)s") % {"names": ", ".join(names)} if names else _("alone")
    else:
        said = ", ".join(names) or _("nobody yet")
    lines: list[Flowable] = [text(said, "small")]
    for need in job.parts:
        facts = {"amount": quantity(need.quantity), "unit": need.part.unit, "part": need.part.name}
        words = _("%(amount)s %(unit)s %(part)s, bin %(bin)s") % {**facts, "bin": need.part.bin.code}
        lines.append(_ticked(words))
    return lines


def _before(job: OwnJob) -> list[Flowable]:
    lines: list[Flowable] = []
    if job.takes_lock_out:
        lines.append(strong_line(_("Lock-out")))
        if job.locked_by:
            lines.append(text(job.locked_by, "small"))
        lines += [Tick(_("locked, start tried")), Tick(_("escape door tried"))]
    if job.cautions:
        lines.append(text(", ".join(caution.title for caution in job.cautions), "soft"))
    return lines


def _ticked(words: str) -> Flowable:
    """A box with words behind it that may take several lines."""
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("PADDING", (0, 0), (-1, -1), 0)]
    return RowTable([[Tick(), text(words, "small")]], [13, WIDTHS_MM[2] * mm - 19], style=style, hAlign="LEFT")
