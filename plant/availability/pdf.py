"""The availability report on paper."""

from django.utils.translation import gettext as _
from reportlab.platypus import Flowable, KeepTogether

from plant.availability.charts import axis_ticks, bridge_bars, strip_rows
from plant.availability.paper_pictures import BridgePicture, Strip
from plant.availability.report import AvailabilityReport, CauseBy
from plant.availability.words import (
    FigureRow,
    cause_rows,
    definitions,
    kiln_figures,
    outside_rows,
    remarks,
    sentence,
    share,
    strip_title,
    title,
    total_figures,
)
from plant.pictures.paper import Heading, Paper, grid, section, text


class AvailabilityPaper(Paper):
    """The same figures and pictures as the page."""

    def __init__(self, report: AvailabilityReport) -> None:
        super().__init__(report.mill.name, report.drawn_at)
        self.report = report

    @property
    def title(self) -> str:
        """Name with the period."""
        return title(self.report)

    def kiln_tags(self) -> list[str]:
        """All of the report."""
        return [kiln.tag for kiln in self.report.kilns]

    def story(self) -> list[Flowable]:
        """The blocks from top to bottom."""
        return [
            Heading(self.title, size=17, above=0, below=4),
            text(sentence(self.report), "lead"),
            *(text(remark, "soft") for remark in remarks(self.report)),
            *(self.pictures() if self.report.kilns else []),
            *self.meanings(),
        ]

    def pictures(self) -> list[Flowable]:
        """All that needs a kiln."""
        return [*self.strip(), *self.bridge(), *self.causes(), *self.outside(), *self.figures(), *self.hours()]

    def strip(self) -> list[Flowable]:
        """The period, kiln by kiln."""
        written = kiln_figures(self.report)
        rows = [
            (row, figures.availability, _("MTBF %(mtbf)s") % {"mtbf": figures.mtbf})
            for row, figures in zip(strip_rows(self.report), written, strict=True)
        ]
        return [*section(strip_title(self.report.period)), Strip(rows, axis_ticks(self.report))]

    def bridge(self) -> list[Flowable]:
        """Where the drying went."""
        head = Heading(_("Where the drying went"))
        if self.report.bridge is None:
            return [head, text(_("Without any charge nobody can say how much a kiln dries in an hour."), "soft")]
        bars = bridge_bars(self.report.bridge, self.report.mill)
        notes = [text(f"{bar.word}: {bar.note}", "soft") for bar in bars if bar.note]
        return [KeepTogether([head, BridgePicture(bars), *notes])]

    def causes(self) -> list[Flowable]:
        """What stopped the kilns."""
        rows = [
            (
                row.what,
                row.where,
                row.failures,
                row.stopped_h,
                row.slowed_h,
                row.not_dried,
                row.operating_h_per_failure,
            )
            for row in cause_rows(self.report, CauseBy.COMPONENT_KIND)
        ]
        head = section(_("What stopped the kilns"))
        if not rows:
            return [*head, text(_("Nothing stopped or slowed a kiln unplanned in this period."), "soft")]
        heads = (
            _("What"),
            _("Where"),
            _("Failures"),
            _("Hours stopped"),
            _("Slowed, equiv. h"),
            _("Not dried"),
            _("Operating hours per failure"),
        )
        note = _("Unplanned stops and slowing; of those at the same time the one that began first counts.")
        return [*head, text(note, "soft"), grid(heads, rows, (46, 48, 15, 16, 16, 19, 18), numbers=(2, 3, 4, 5, 6))]

    def outside(self) -> list[Flowable]:
        """What came from outside the kilns."""
        rows = [(row.what, row.where, row.stopped_h, row.slowed_h, row.not_dried) for row in outside_rows(self.report)]
        if not rows:
            return []
        heads = (_("Outside the kilns"), _("Where"), _("Hours stopped"), _("Slowed, equiv. h"), _("Not dried"))
        note = _("Nothing of this counts as a failure of a kiln, nor against its availability.")
        table = grid(heads, rows, (52, 48, 24, 30, 24), numbers=(2, 3, 4))
        return [*section(_("Causes outside the kilns")), text(note, "soft"), table]

    def _rows(self) -> list[FigureRow]:
        rows = kiln_figures(self.report)
        return rows if self.report.only else [*rows, total_figures(self.report)]

    def figures(self) -> list[Flowable]:
        """Availability and failures of each kiln."""
        heads = (
            _("Kiln"),
            _("Availability"),
            _("Equivalent availability"),
            _("Operating hours"),
            _("Failures"),
            _("MTBF"),
            _("Bounds (90 %)"),
            _("Mean time to restoration"),
            _("Not dried"),
        )
        rows = [
            (
                row.name,
                f"{row.availability} {row.undefined_why}".strip(),
                row.equivalent,
                row.operating_h,
                f"{row.failures} {row.open_failures}".strip(),
                row.mtbf,
                row.mtbf_bounds,
                row.time_to_restoration,
                row.not_dried,
            )
            for row in self._rows()
        ]
        widths = (22, 19, 19, 18, 16, 17, 26, 20, 21)
        return [
            *section(_("Figures of each kiln")),
            grid(heads, rows, widths, numbers=range(1, 9), last_is_sum=not self.report.only),
            *self.by_volume(),
        ]

    def by_volume(self) -> list[Flowable]:
        """The availability of all kilns weighed by volume, beside that of their hours."""
        if self.report.only or self.report.by_volume is None:
            return []
        words = _("All kilns, each weighed by the volume that it holds: availability %(full)s, equivalent %(part)s.")
        return [text(words % {"full": share(self.report.by_volume), "part": share(self.report.equivalent_by_volume)})]

    def hours(self) -> list[Flowable]:
        """How the hours split."""
        heads = (
            _("Kiln"),
            _("Able to dry"),
            _("Slowed"),
            _("Planned work"),
            _("Stopped"),
            _("Outside causes"),
            _("No timber"),
            _("All hours"),
            _("Slowed, equiv. h"),
        )
        rows = [(row.name, *row.hours, row.slowed_equivalent) for row in self._rows()]
        widths = (24, 21, 19, 19, 19, 19, 19, 19, 19)
        return [
            *section(_("Hours of each kiln")),
            grid(heads, rows, widths, numbers=range(1, 9), last_is_sum=not self.report.only),
        ]

    def meanings(self) -> list[Flowable]:
        """What the figures mean."""
        lines = [text(f"{term}: {meaning}", "soft") for term, meaning, _word in definitions()]
        return [KeepTogether([Heading(_("What the figures mean"), size=10), *lines])]
