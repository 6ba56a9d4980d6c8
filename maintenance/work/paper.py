"""A work order on paper: cautions first, then where, what, with which parts, and who signs."""

from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table

from maintenance.checks.end_view_marks import number_of_work
from maintenance.models import Caution, StepRecord, WorkOrder, WorkStep
from maintenance.models.catalogue import NeedsState
from maintenance.models.querysets import FINISHED_STATES
from maintenance.models.versions import purpose_of
from maintenance.orders.origins import origins_of, say_origins
from maintenance.orders.paper_blocks import (
    Tick,
    WriteLines,
    cautions_block,
    component_words,
    fields,
    moment,
    strong_line,
)
from maintenance.plans.places_now import failing_places
from plant import clock
from plant.frame.figures import fixed, quantity
from plant.frame.saying import say
from plant.frame.units import reading_in, reading_scale, temperature_scale
from plant.models import Mill
from plant.pictures.end_view import NUMBER_NAMES, MakeUp, chamber
from plant.pictures.marks import mark_of_number
from plant.pictures.paper import Heading, Paper, RowTable, grid, section, text
from plant.pictures.paper_end_view import EndView, NumberMark

STATES_WITH_PEOPLE_INSIDE = (NeedsState.EMPTY, NeedsState.STILL)


class WorkOrderPaper(Paper):
    """One work order."""

    is_safety_relevant = True
    picture_mm = 50.0

    def __init__(self, order: WorkOrder, mill: Mill) -> None:
        super().__init__(mill.name, clock.now())
        self.order, self.mill = order, mill

    @classmethod
    def of(cls, number: str, mill: Mill) -> "WorkOrderPaper":
        """Read a work order with all that is printed; raises WorkOrder.DoesNotExist."""
        orders = WorkOrder.objects.select_related(
            "kiln",
            "component__kind",
            "sheet__kind",
            "defect",
            "placement__after_charge",
            "placement__during_charge",
        ).prefetch_related(
            "skills__skill",
            "steps__records",
            "parts__part__bin",
            "parts__reservation",
            "assignments__person",
            "labour__person",
        )
        return cls(orders.get(number=number), mill)

    @property
    def title(self) -> str:
        """Number and job."""
        return f"{self.order.number} {self.order.title}"

    @property
    def large(self) -> str:
        """The kiln."""
        return self.order.kiln.tag

    def kiln_tags(self) -> list[str]:
        """The one it is about."""
        return [self.order.kiln.tag]

    def story(self) -> list[Flowable]:
        """The blocks from top to bottom: nothing comes before the cautions."""
        return [
            Heading(self.title, size=15, above=0, below=5),
            *self.cautions(),
            *self.entry(),
            *self.particulars(),
            *self.steps(),
            *self.parts(),
            *self.outcome(),
        ]

    def cautions(self) -> list[Flowable]:
        """The cautions of the job."""
        found = Caution.objects.for_work_order(self.order)
        title = _("Read this first. Local codes and licensed trades come first; where they ask for more, do more.")
        return [cautions_block(title, found, self.width)]

    def entry(self) -> list[Flowable]:
        """Lock-out and who is inside, to be filled in by hand; only where people go in."""
        if self.order.needs_state not in STATES_WITH_PEOPLE_INSIDE:
            return []
        heads = (_("Energy"), _("Locked out by"), _("Lock number"), _("Time"), _("Lock taken off by, time"))
        energies = (_("fan drives"), _("heat"), _("water, steam, air"), _("flaps and doors"), Spacer(1, 10))
        rows = [(energy, "", "", "", "") for energy in energies]
        box = grid(heads, rows, (36, 46, 26, 24, 46), extra=[("TOPPADDING", (0, 1), (-1, -1), 5)])
        before = [Tick(_("start was tried and failed")), Tick(_("escape door opened from inside"))]
        temperature = _("temperature inside in %(unit)s") % {"unit": temperature_scale(self.mill).unit}
        warmth = fields((temperature, _("person outside, name"), _("time")), [self.width / 3] * 3)
        ticks = Table([before], [self.width / 2] * 2, style=[("LEFTPADDING", (0, 0), (-1, -1), 0)])
        return [KeepTogether([Heading(_("Lock-out and entry")), box, Spacer(1, 3), ticks, warmth])]

    def particulars(self) -> list[Flowable]:
        """Where, when, who; with the end view beside it. Short facts stand two in a row, to save a page."""
        short = [(word, value) for word, value in self._short_facts() if value]
        half = -(-len(short) // 2)
        rows = [
            [text(word, "soft"), text(value, "small"), *beside]
            for (word, value), beside in zip(
                short[:half],
                [[text(word, "soft"), text(value, "small")] for word, value in short[half:]] + [["", ""]],
                strict=False,
            )
        ]
        long = [[text(word, "soft"), text(value, "small"), "", ""] for word, value in self._long_facts() if value]
        spans = [("SPAN", (1, row), (3, row)) for row in range(len(rows), len(rows) + len(long))]
        wide = self.width - self.picture_mm * mm - 4 * mm
        facts = RowTable(
            [*rows, *long],
            [19 * mm, wide / 2 - 19 * mm, 19 * mm, wide / 2 - 19 * mm],
            style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, -1), 0), *spans, *_tight()],
        )
        number = number_of_work(self.order)
        where = NUMBER_NAMES[number] if number else ""
        marks = [NumberMark(no, *mark_of_number("none", no), is_chosen=no == number) for no in NUMBER_NAMES]
        picture: list[Any] = [EndView(chamber(MakeUp.of(self.order.kiln)), marks, self.picture_mm * mm)]
        if number:
            picture.append(text(f"{number}: {where}", "soft"))
        both = RowTable(
            [[facts, picture]],
            [wide + 4 * mm, self.picture_mm * mm],
            style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0), *_tight()],
        )
        return [KeepTogether([Heading(_("Where, when and who")), both])]

    def _short_facts(self) -> list[tuple[str, str]]:
        order = self.order
        hours = _("%(hours)s h with %(crew)d people") if order.crew > 1 else _("%(hours)s h, one person")
        return [
            (_("Kiln"), f"{order.kiln.tag} {order.kiln.name}".strip()),
            (_("Component"), component_words(order.component) if order.component else ""),
            (_("The kiln must be"), order.get_needs_state_display()),
            (_("Work"), hours % {"hours": quantity(order.hours), "crew": order.crew}),
            (_("Origin"), order.get_origin_display() if self._has_one_origin else ""),
            (_("State"), order.get_state_display()),
            (_("Not before"), moment(order.earliest_at)),
            (_("Due"), moment(order.due_at)),
            (_("Safety date"), moment(order.safety_at)),
            (_("Done"), moment(order.done_at)),
        ]

    def _long_facts(self) -> list[tuple[str, str]]:
        order = self.order
        people = ", ".join(assignment.person.name for assignment in order.assignments.all())
        return [
            (_("Placed"), self._placed()),
            (_("People"), people or ("" if self._is_finished() else _("nobody yet"))),
            (_("Skills"), ", ".join(f"{need.persons} × {need.skill.name}" for need in order.skills.all())),
            (_("Worked"), self._worked()),
            (_("Asked for by"), "" if self._has_one_origin else say_origins(order)),
            (_("Why"), say(order.why) or (order.defect.what if order.defect else "")),
            (_("Purpose"), purpose_of(order)),
        ]

    @property
    def _has_one_origin(self) -> bool:
        return len(origins_of(self.order)) < 2

    def _is_finished(self) -> bool:
        return self.order.state in FINISHED_STATES

    def _worked(self) -> str:
        """Who has worked on it so far, and how long."""
        minutes: dict[str, int] = {}
        for entry in self.order.labour.all():
            minutes[entry.person.name] = minutes.get(entry.person.name, 0) + entry.minutes
        return ", ".join(f"{name} {fixed(Decimal(total) / 60)} h" for name, total in minutes.items())

    def _placed(self) -> str:
        placement = getattr(self.order, "placement", None)
        if placement is None and self._is_finished():
            return ""
        if placement is None:
            return _("no place yet") + (f": {say(self.order.no_place_why)}" if self.order.no_place_why else "")
        said = _("%(start)s to %(end)s") % {"start": moment(placement.start_at), "end": moment(placement.end_at)}
        if placement.after_charge:
            said += ", " + _("after charge %(number)s") % {"number": placement.after_charge.number}
        if placement.during_charge:
            said += ", " + _("during charge %(number)s") % {"number": placement.during_charge.number}
        broken = failing_places(clock.now()).of(self.order.number)
        if broken:
            said += ". " + _("This place no longer holds: %(why)s Ask the planner before you go.") % {"why": broken}
        return said

    def steps(self) -> list[Flowable]:
        """The steps with their boxes and fields for readings."""
        steps = list(self.order.steps.all())
        head = section(_("Steps"))
        if not steps:
            return [*head, text(_("No steps are written down for this job. Write what you do:"), "soft"), WriteLines(5)]
        rows = [
            (
                str(step.no),
                Tick(is_ticked=_is_done(step)),
                [text(step.text), *_optional(step)],
                _reading(step, self.mill),
            )
            for step in steps
        ]
        heads = (_("No."), _("Done"), _("Step"), _("Reading"))
        return [*head, grid(heads, rows, (9, 12, 105, 52), extra=[("BOTTOMPADDING", (0, 1), (-1, -1), 6)])]

    def parts(self) -> list[Flowable]:
        """The parts with the bins they lie in."""
        parts = list(self.order.parts.all())
        if not parts:
            return []
        rows = [
            (
                f"{quantity(need.quantity)} {need.part.unit}",
                need.part.name,
                need.part.code,
                need.part.bin.code,
                _("reserved") if need.reservation else _("not reserved"),
                Tick(),
            )
            for need in parts
        ]
        heads = (_("Quantity"), _("Part"), _("Code"), _("Bin"), "", _("Taken"))
        return [*section(_("Parts")), grid(heads, rows, (24, 66, 32, 20, 24, 12))]

    def outcome(self) -> list[Flowable]:
        """What was done, and who signs."""
        third = [self.width / 3] * 3
        done = [text(self.order.result)] if self.order.result else []
        return [
            KeepTogether(
                [
                    Heading(_("What was done, and what the next one should know")),
                    *done,
                    WriteLines(3),
                    fields((_("done by"), _("from, until"), _("hours worked")), third),
                    fields(
                        (_("all tools and people out, locks off: name"), _("signed off by"), _("day and time")), third
                    ),
                ]
            )
        ]


def _tight() -> list[tuple[Any, ...]]:
    return [("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5)]


def _latest(step: WorkStep) -> StepRecord | None:
    return max(step.records.all(), key=lambda record: (record.at, record.pk), default=None)


def _is_done(step: WorkStep) -> bool:
    latest = _latest(step)
    return latest is not None and latest.is_done


def _optional(step: WorkStep) -> list[Flowable]:
    return [] if step.is_required else [text(_("may be left out"), "soft")]


def _reading(step: WorkStep, mill: Mill) -> list[Flowable] | str:
    """Name, field and limits of the reading a step asks for."""
    if not step.reading_name:
        return ""
    latest = _latest(step)
    taken = latest.reading if latest else None
    blank = f"………………… {reading_scale(step.reading_unit, mill).unit}".strip()
    written = blank if taken is None else reading_in(taken, step.reading_unit, mill)
    return [text(step.reading_name, "soft"), strong_line(written), *_limits(step, mill)]


def _limits(step: WorkStep, mill: Mill) -> list[Flowable]:
    scale = reading_scale(step.reading_unit, mill)
    low, high = ("" if value is None else quantity(scale.shown(value)) for value in (step.low, step.high))
    if low and high:
        said = _("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low:
        said = _("not below %(low)s") % {"low": low}
    elif high:
        said = _("not above %(high)s") % {"high": high}
    else:
        return []
    return [text(f"{said} {scale.unit}".strip(), "small")]
