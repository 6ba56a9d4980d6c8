"""The work of one day on paper: by kiln, or a sheet for each person; cautions first, boxes to be filled in."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Spacer

from maintenance.models import Caution, WorkOrder
from maintenance.my_week import DAY, OwnJob, as_own, placed_between, with_crew
from maintenance.papers.blocks import Tick, cautions_block, component_words, strong_line
from plant import clock
from plant.models import Mill, Person
from plant.paper import INK, Heading, Paper, RowTable, grid, section, text
from plant.templatetags.kilnward import quantity

WIDTHS_MM = (21.0, 62.0, 40.0, 31.0, 24.0)


class DaySheet(Paper):
    """All placed jobs of a day."""

    is_safety_relevant = True

    def __init__(
        self, on: date, jobs: Sequence[OwnJob], mill: Mill, *, by_person: bool = False, person: Person | None = None
    ) -> None:
        super().__init__(mill.name, clock.now())
        self.on, self.jobs, self.by_person, self.person = on, list(jobs), by_person, person

    @classmethod
    def of(cls, on: date, mill: Mill, *, by_person: bool = False, person: Person | None = None) -> "DaySheet":
        """Read the day; the number of queries does not depend on the number of jobs."""
        start_at, end_at = clock.start_of_day(on, mill.zone), clock.start_of_day(on + DAY, mill.zone)
        orders = WorkOrder.objects.exclude(state=WorkOrder.State.WITHDRAWN)
        if person is not None:
            orders = orders.of_person(person)
        jobs = as_own(with_crew(orders.filter(placed_between(start_at, end_at))))
        return cls(on, jobs, mill, by_person=by_person, person=person)

    @property
    def title(self) -> str:
        """The day."""
        return _("Day sheet, %(day)s") % {"day": date_format(self.on, "l j F Y")}

    def story(self) -> list[Flowable]:
        """The day by kiln, or a sheet for each person that can be handed out alone."""
        if not self.jobs:
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
        """One table a kiln, jobs in the order of time."""
        kilns: dict[str, list[OwnJob]] = defaultdict(list)
        for job in self.jobs:
            kilns[job.order.kiln.tag].append(job)
        yield Heading(self.title, size=15, above=0, below=4)
        jobs, people = len(self.jobs), len({one.pk for job in self.jobs for one in job.others})
        counts = ngettext("%d job", "%d jobs", jobs) % jobs, ngettext("%d person", "%d people", people) % people
        kiln_count = ngettext("%d kiln", "%d kilns", len(kilns)) % len(kilns)
        yield text(", ".join((counts[0], kiln_count, counts[1])))
        yield from self.cautions(self.jobs)
        for of_kiln in sorted(kilns.values(), key=lambda jobs: jobs[0].order.kiln.pk):
            kiln = of_kiln[0].order.kiln
            yield from section(f"{kiln.tag} {kiln.name}".strip(), 42, size=13)
            if any(job.takes_lock_out for job in of_kiln):
                facts = {"out": kiln.lock_out_minutes, "back": kiln.restore_minutes}
                yield text(_("Lock-out takes %(out)d min, putting back %(back)d min.") % facts, "soft")
                yield Spacer(1, 3)
            yield self.table(of_kiln)

    def for_people(self) -> Iterable[Flowable]:
        """A sheet for each person, with the cautions of that person's jobs."""
        work: dict[Person, list[OwnJob]] = defaultdict(list)
        for job in self.jobs:
            for one in job.others:
                if self.person in (None, one):
                    work[one].append(job)
        alone = [job for job in self.jobs if not job.others]
        sheets: list[tuple[str, Person | None, list[OwnJob]]] = [
            (one.name, one, jobs) for one, jobs in sorted(work.items(), key=lambda item: item[0].name)
        ]
        if alone and self.person is None:
            sheets.append((_("Nobody yet"), None, alone))
        for number, (name, person, jobs) in enumerate(sheets):
            if number:
                yield PageBreak()
            yield Heading(name, size=15, above=0, below=2)
            yield text(date_format(self.on, "l j F Y"), "lead")
            yield from self.cautions(jobs)
            yield Spacer(1, 6)
            yield self.table(jobs, person=person, with_kiln=True)

    def cautions(self, jobs: Sequence[OwnJob]) -> list[Flowable]:
        """All cautions of some jobs, each once, in the order to read them."""
        found: dict[int, Caution] = {}
        for job in sorted(jobs, key=lambda job: -len(job.cautions)):
            found |= {one.pk: one for one in job.cautions if one.pk not in found}
        title = _("Read this first. Local codes and licensed trades come first; where they ask for more, do more.")
        return [Spacer(1, 6), cautions_block(title, found.values(), self.width), Spacer(1, 4)] if found else []

    def table(self, jobs: Sequence[OwnJob], person: Person | None = None, *, with_kiln: bool = False) -> Flowable:
        """Times, job, crew and parts, lock-out, and boxes for begin, end and initials."""
        rows = [
            (
                self._when(job, with_kiln=with_kiln),
                _what(job),
                _who_and_parts(job, person),
                _before(job),
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

    def _when(self, job: OwnJob, *, with_kiln: bool) -> list[Flowable]:
        start, end = (self._clock(at) for at in (job.start_at, job.end_at))
        said: list[Flowable] = [strong_line(start), text(_("until %(end)s") % {"end": end}, "small")]
        return [strong_line(job.order.kiln.tag), *said] if with_kiln else said

    def _clock(self, at: datetime | None) -> str:
        """Say a time of this day, or one of another with its day."""
        if at is None:
            return ""
        local = localtime(at)
        return f"{local:%H:%M}" if local.date() == self.on else date_format(local, "D j M, H:i")


def _what(job: OwnJob) -> list[Flowable]:
    order = job.order
    lines: list[Flowable] = [strong_line(order.title)]
    facts = [order.number, component_words(order.component) if order.component else ""]
    lines.append(text(" · ".join(fact for fact in facts if fact), "small"))
    lines.append(text(_("Kiln must be: %(state)s") % {"state": job.kiln_must_be}, "small"))
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
        lines += [strong_line(_("Lock-out")), Tick(_("locked, start tried")), Tick(_("escape door tried"))]
    if job.cautions:
        lines.append(text(", ".join(caution.title for caution in job.cautions), "soft"))
    return lines


def _ticked(words: str) -> Flowable:
    """A box with words behind it that may take several lines."""
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("PADDING", (0, 0), (-1, -1), 0)]
    return RowTable([[Tick(), text(words, "small")]], [13, WIDTHS_MM[2] * mm - 19], style=style, hAlign="LEFT")
