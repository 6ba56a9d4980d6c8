"""The sheet for a function check: the points split by the state in which they can be seen, with room for findings."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Prefetch
from django.utils.translation import gettext as _
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from maintenance.models import Caution, CheckItem, CheckPoint, Finding, FunctionCheck
from maintenance.models.versions import put_as_asked
from maintenance.orders.paper_blocks import ResultShapes, Tick, cautions_block, component_words, fields, moment
from plant import clock
from plant.models import Mill
from plant.pictures.end_view import NUMBER_NAMES, MakeUp, chamber
from plant.pictures.marks import mark_of_number
from plant.pictures.paper import INK, LINE, PALE, SOFT, Heading, Paper, RowTable, section, text
from plant.pictures.paper_end_view import EndView, NumberMark

SeenIn = CheckPoint.SeenIn


@dataclass(frozen=True, slots=True)
class _Point:
    """A point of the check with its items, one for each component."""

    point: CheckPoint
    items: tuple[CheckItem, ...]


class RoundSheet(Paper):
    """One function check."""

    is_safety_relevant = True
    widths_mm = (9.0, 88.0, 49.0, 32.0)

    def __init__(self, check: FunctionCheck, items: Sequence[CheckItem], mill: Mill) -> None:
        super().__init__(mill.name, clock.now())
        self.check, self.items = check, list(items)
        put_as_asked(self.items)

    @classmethod
    def of(cls, number: str, mill: Mill) -> "RoundSheet":
        """Read a check with all that is printed; raises FunctionCheck.DoesNotExist."""
        check = FunctionCheck.objects.select_related("kiln", "started_by__person").get(number=number)
        findings = Finding.objects.standing().in_order().select_related("against__failure_mode")
        items = (
            CheckItem.objects.filter(check_up=check)
            .needed()
            .select_related("point__substitute", "component")
            .prefetch_related(Prefetch("findings", queryset=findings))
        )
        return cls(check, list(items), mill)

    @property
    def title(self) -> str:
        """Number and kiln."""
        return _("Function check %(number)s, kiln %(kiln)s") % {
            "number": self.check.number,
            "kiln": self.check.kiln.tag,
        }

    @property
    def large(self) -> str:
        """The kiln."""
        return self.check.kiln.tag

    def kiln_tags(self) -> list[str]:
        """The one it is about."""
        return [self.check.kiln.tag]

    def story(self) -> list[Flowable]:
        """The blocks from top to bottom; each state begins with its cautions."""
        return [
            Heading(self.title, size=15, above=0, below=4),
            text(self._lead()),
            Spacer(1, 5),
            self.map(),
            *self.part(SeenIn.RUNNING, _("While the kiln runs"), _("Before you look at the running kiln")),
            *self.part(SeenIn.OPEN_EMPTY, _("Open and empty"), _("Before you go into the open kiln")),
            *self.either(),
            *self.signatures(),
        ]

    def _lead(self) -> str:
        left = sum(1 for item in self.items if _latest(item) is None)
        started = _("Started %(when)s.") % {"when": moment(self.check.started_at)}
        if self.check.started_by:
            by = {"when": moment(self.check.started_at), "who": self.check.started_by}
            started = _("Started %(when)s by %(who)s.") % by
        counts = _("%(left)d of %(all)d points have no finding yet.") % {"left": left, "all": len(self.items)}
        return f"{started} {counts} " + _("It is complete only when every point has one.")

    def map(self) -> Flowable:
        """The end view with its numbers, and the words beside it."""
        asked = {item.point.end_view_no for item in self.items}
        marks = [NumberMark(no, *mark_of_number("open" if no in asked else "none", no)) for no in NUMBER_NAMES]
        picture = EndView(chamber(MakeUp.of(self.check.kiln)), marks, 96 * mm)
        names = Table(
            [[text(no, "number"), text(name)] for no, name in NUMBER_NAMES.items()],
            [9 * mm, 62 * mm],
            style=[("TOPPADDING", (0, 0), (-1, -1), 0.5), ("BOTTOMPADDING", (0, 0), (-1, -1), 1)],
        )
        return Table(
            [[picture, names]], [102 * mm, self.width - 102 * mm], style=[("VALIGN", (0, 0), (-1, -1), "MIDDLE")]
        )

    def part(self, seen_in: SeenIn, title: str, before: str) -> list[Flowable]:
        """The points of one state, led by the cautions of that state."""
        points = self._points(seen_in)
        if not points:
            return []
        cautions = Caution.objects.for_sitting(self.check, seen_in)
        return [
            *section(title, 70, size=13),
            cautions_block(before, cautions, self.width),
            Spacer(1, 5),
            self._table(points),
        ]

    def either(self) -> list[Flowable]:
        """The points that can be seen in either state; their cautions stand in both boxes above."""
        points = self._points(SeenIn.EITHER)
        if not points:
            return []
        alone = len(points) == len({item.point_id for item in self.items})
        title = _("While the kiln runs, or open and empty")
        if alone:
            return self.part(SeenIn.EITHER, title, _("Before you look at the kiln"))
        note = _("The cautions of the state in which you look hold here too.")
        return [*section(title, 45, size=13), text(note), Spacer(1, 3), self._table(points)]

    def _points(self, seen_in: SeenIn) -> list[_Point]:
        chosen = (item for item in self.items if item.point.seen_in == seen_in)
        ordered = sorted(chosen, key=lambda item: (item.point.end_view_no, item.point.code, _place(item)))
        groups = (tuple(group) for _key, group in groupby(ordered, key=lambda item: item.point_id))
        return [_Point(items[0].point, items) for items in groups]

    def _table(self, points: Sequence[_Point]) -> Table:
        head = [
            text(_("No."), "head"),
            text(_("Point"), "head"),
            ResultShapes(has_words=True),
            text(_("Finding"), "head"),
        ]
        rows: list[list[Any]] = [head]
        style: list[tuple[Any, ...]] = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ("LINEBELOW", (0, 0), (-1, 0), 0.9, INK),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("RIGHTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 3),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
        ]
        for point in points:
            first = len(rows)
            rows += self._rows(point)
            style.append(("LINEABOVE", (0, first), (-1, first), 0.5, SOFT))
            if len(rows) > first + 1:
                # the words over the places: whole width, and never alone at the foot of a page
                style += [("SPAN", (1, first), (-1, first)), ("NOSPLIT", (0, first), (-1, first + 1))]
            for row in range(first + 1, len(rows)):
                style.append(("LINEABOVE", (1, row), (-1, row), 0.3, LINE))
        style += [("BACKGROUND", (0, 1), (0, -1), PALE), ("LINEBELOW", (0, -1), (-1, -1), 0.5, SOFT)]
        return RowTable(rows, [width * mm for width in self.widths_mm], repeatRows=1, style=style)

    def _rows(self, point: _Point) -> Iterator[list[Any]]:
        """One row for a point of a single place; else a row for the point and one for each component."""
        words = _words(point)
        number = Heading(str(point.point.end_view_no), size=10, above=0, below=0)
        if len(point.items) == 1:
            (item,) = point.items
            place = [text(_place(item), "small")] if _place(item) else []
            yield [number, [words[0], *place, *words[1:]], ResultShapes(_result(item)), _found(item)]
            return
        yield [number, words, "", ""]
        for item in point.items:
            yield ["", text(_place(item)), ResultShapes(_result(item)), _found(item)]

    def signatures(self) -> list[Flowable]:
        """Who looked, and when, for each sitting."""
        quarter = [self.width / 4] * 4
        words = (_("sitting: day, from, until"), _("kiln was"), _("looked by"), _("person outside, where one went in"))
        return [*section(_("Sittings"), 48), *(fields(words, quarter) for _line in range(3))]


def _words(point: _Point) -> list[Flowable]:
    about = point.point
    words: list[Flowable] = [
        Heading(about.what, size=9, above=0, below=1),
        text(about.method, "small"),
        text(_("Sound when: %(criterion)s") % {"criterion": about.criterion}, "small"),
    ]
    if about.blocks_entry:
        words.append(Tick(_("what is not sound here bars entry: report it at once")))
    if about.substitute:
        instead = {"when": about.substitute_when, "what": about.substitute.what}
        said = _("%(when)s: look at “%(what)s” instead and write why.") if instead["when"] else ""
        said = said or _("Where it cannot be seen, look at “%(what)s” instead and write why.")
        words.append(text(said % instead, "soft"))
    if any(item.is_substitute for item in point.items):
        words.append(text(_("Stands in for a point that could not be seen."), "soft"))
    return words


def _place(item: CheckItem) -> str:
    return component_words(item.component) if item.component else ""


def _latest(item: CheckItem) -> Finding | None:
    findings = list(item.findings.all())
    return findings[-1].counting if findings else None


def _result(item: CheckItem) -> str:
    latest = _latest(item)
    return latest.result if latest else ""


def _found(item: CheckItem) -> list[Flowable] | str:
    """What was found so far, in words."""
    latest = _latest(item)
    if latest is None:
        return ""
    mode = latest.failure_mode.name if latest.failure_mode else ""
    said = [str(latest.get_result_display()), mode, latest.reason, latest.note]
    by = f"{moment(latest.at)} {latest.by or ''}".strip()
    return [text(", ".join(part for part in said if part), "small"), text(by, "soft")]
