"""What the page of charges shows of each kiln: what is in it, what comes, and its programme as a line over days."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from plant import clock
from plant.charges.calculations.gaps import Gap, Held, Overlap, gaps_and_overlaps
from plant.charges.calculations.known import ChargeRecord
from plant.charges.claims import Disagreement, disagreements
from plant.charges.held_up import held_up_charges
from plant.charges.programme import Basis, basis_of, say_at
from plant.charges.proposals import Proposal, proposals
from plant.charges.telling import is_inside, may_tell, words_of
from plant.frame.figures import span
from plant.models import Charge, ChargeWord, Downtime, Kiln
from plant.models.querysets import LATELY

What = ChargeWord.What
DAYS = 21
LATER_SHOWN = 4
# A piece that takes less of the line, in per cent, has no room for words.
LEAST_FOR_LABEL = 4
TO_TELL = {
    What.STARTED: gettext_lazy("Loaded and started"),
    What.OPENED: gettext_lazy("Opened"),
    What.UNLOADED: gettext_lazy("Unloaded"),
    What.EXPECTED: gettext_lazy("Starts at another time"),
    What.NOT_BEGUN: gettext_lazy("It did not begin"),
}
# Of a charge that is in the kiln.
INSIDE_TO_TELL = {
    What.EXPECTED: gettext_lazy("Out later or sooner"),
    What.STARTED: gettext_lazy("Started at another time"),
}


@dataclass(frozen=True, slots=True)
class ChargeRow:
    """A charge, what was told of it and counts, and what can be told of it next.

    ``held_up`` is where it is expected, where nobody knows its end since its kiln stood.
    """

    charge: Charge
    words: Sequence[ChargeWord]
    held_up: ChargeRecord | None = None

    @property
    def out_at(self) -> datetime:
        """When it is out by the record; where nobody knows it since its kiln stood, when that is expected."""
        return self.held_up.end_at if self.held_up else self.charge.end_at

    @property
    def is_overdue(self) -> bool:
        """Whether it should have been started, or out, by now."""
        now = clock.now()
        basis = basis_of(self.charge, now)
        due_at = self.charge.begin_at if basis == Basis.PLANNED else self.out_at
        if basis == Basis.PLANNED and self.last is not None and self.last.what == ChargeWord.What.EXPECTED:
            # Its start was told; its loading may have begun.
            due_at = self.last.at
        return basis != Basis.DONE and due_at < now

    @property
    def to_tell(self) -> list[tuple[str, str]]:
        """Return (what, button), the likeliest first."""
        return [(str(what), say_what(self.charge, what)) for what in may_tell(self.charge, self.words)]

    @property
    def stand(self) -> str:
        """What it is now, in a word."""
        return str(Basis(basis_of(self.charge, clock.now())).label)

    @property
    def last(self) -> ChargeWord | None:
        """The word that can be put right."""
        return self.words[-1] if self.words else None


def say_what(charge: Charge, what: ChargeWord.What) -> str:
    """Return what is told, as a button and a heading say it."""
    return str(INSIDE_TO_TELL.get(what, TO_TELL[what]) if is_inside(charge) else TO_TELL[what])


@dataclass(frozen=True, slots=True)
class Window:
    """The days that the lines show."""

    first_on: date
    zone: ZoneInfo

    @property
    def from_at(self) -> datetime:
        """The left edge."""
        return clock.start_of_day(self.first_on, self.zone)

    @property
    def to_at(self) -> datetime:
        """The right edge."""
        return clock.start_of_day(self.first_on + timedelta(days=DAYS), self.zone)

    @property
    def earlier_on(self) -> date:
        """The first day of the weeks before."""
        return self.first_on - timedelta(days=DAYS)

    @property
    def later_on(self) -> date:
        """The first day of the weeks after."""
        return self.first_on + timedelta(days=DAYS)

    @property
    def last_on(self) -> date:
        """The last day shown."""
        return self.later_on - timedelta(days=1)

    def share(self, at: datetime) -> float:
        """Return an instant in per cent of the line."""
        clipped = min(max(at, self.from_at), self.to_at)
        return round(100 * ((clipped - self.from_at) / (self.to_at - self.from_at)), 3)

    @property
    def days(self) -> list[tuple[float, date]]:
        """Return where each day begins."""
        every = [self.first_on + timedelta(days=n) for n in range(DAYS)]
        return [(self.share(clock.start_of_day(day, self.zone)), day) for day in every]


@dataclass(frozen=True, slots=True)
class Piece:
    """A charge, a gap or an overlap on a kiln's line; left and width in per cent."""

    kind: str
    left: float
    width: float
    label: str
    words: str
    charge: Charge | None = None
    begin_at: datetime | None = None
    end_at: datetime | None = None
    length: str = ""


@dataclass(slots=True)
class KilnRow:
    """A kiln with the charge in it, the last one out and those to come; and its line."""

    kiln: Kiln
    inside: ChargeRow | None
    out: ChargeRow | None
    ahead: Sequence[ChargeRow]
    later: int
    stop: Downtime | None
    proposal: Proposal | None = None
    disagreements: Sequence[Disagreement] = ()
    pieces: list[Piece] = field(default_factory=list)
    gaps: list[Piece] = field(default_factory=list)
    overlaps: list[Piece] = field(default_factory=list)

    @property
    def is_end_unknown(self) -> bool:
        """Whether nobody knows when the charge in it will be out since it stood, and nobody told it since."""
        return self.inside is not None and self.inside.held_up is not None


def in_order(kiln: Kiln) -> tuple[tuple[str, int], ...]:
    """Sort kilns as people count: K2 before K10."""
    return tuple((word, int(number or 0)) for word, number in re.findall(r"(\D*)(\d*)", kiln.tag))


def rows_of(kilns: Sequence[Kiln], window: Window, now: datetime) -> list[KilnRow]:
    """Return kilns with their charges and lines; a fixed number of queries, and of charges only what is shown."""
    lately = Charge.objects.lately(kilns, now).filter(begin_at__lt=now + timedelta(days=DAYS))
    drawn = Charge.objects.filter(kiln__in=kilns).reaching_into(window.from_at, window.to_at)
    of_kiln: dict[int, list[Charge]] = {kiln.pk: [] for kiln in kilns}
    kilns_by_id = {kiln.pk: kiln for kiln in kilns}
    for charge in (lately | drawn).order_by("begin_at"):
        charge.kiln = kilns_by_id[charge.kiln_id]
        of_kiln[charge.kiln_id].append(charge)
    words = words_of(charge for found in of_kiln.values() for charge in found)
    stops = {stop.kiln_id: stop for stop in Downtime.objects.filter(kiln__in=kilns).stops_at(now)}
    held_up = held_up_charges(kilns_by_id, now)
    proposed, differing = proposals(kilns, now), disagreements(kilns)
    rows = []
    for kiln in kilns:
        found = [ChargeRow(charge, words[charge.pk], held_up.get(charge.pk)) for charge in of_kiln[kiln.pk]]
        ahead = [row for row in found if basis_of(row.charge, now) == Basis.PLANNED]
        row = KilnRow(
            kiln,
            next((row for row in found if is_inside(row.charge)), None),
            next((row for row in reversed(found) if _is_lately_out(row, now)), None),
            ahead[:LATER_SHOWN],
            max(0, len(ahead) - LATER_SHOWN),
            stops.get(kiln.pk),
            proposed.get(kiln.pk),
            differing.get(kiln.pk, ()),
        )
        _draw(row, of_kiln[kiln.pk], window, now, held_up)
        rows.append(row)
    return rows


def _is_lately_out(row: ChargeRow, now: datetime) -> bool:
    return row.charge.basis == Basis.DONE and row.last is not None and row.charge.end_at > now - LATELY


def _draw(
    row: KilnRow, charges: Sequence[Charge], window: Window, now: datetime, held_up: Mapping[int, ChargeRecord]
) -> None:
    known = {one.pk: one for one in charges}
    ends = {one.pk: held_up[one.pk].end_at if one.pk in held_up else one.end_at for one in charges}
    # Of weeks that lie ahead only their own charges are known here.
    from_at = max(now, window.from_at)
    out = _out(row.kiln, charges, now)
    held = [
        Held(one.pk, one.begin_at, ends[one.pk], basis_of(one, now) != Basis.PLANNED, one.pk in out)
        for one in charges
        if from_at == now or ends[one.pk] > from_at
    ]
    gaps, overlaps = gaps_and_overlaps(held, from_at)
    for one in charges:
        if one.begin_at < window.to_at and ends[one.pk] > window.from_at:
            expected_at = ends[one.pk] if one.pk in held_up else None
            row.pieces.append(_charge_piece(row.kiln, one, expected_at, window, now, is_out=one.pk in out))
    row.gaps = [_gap_piece(row.kiln, gap, window) for gap in gaps if gap.begin_at < window.to_at]
    row.gaps = [piece for piece in row.gaps if piece.width]
    row.overlaps = [_overlap_piece(known, one, window) for one in overlaps]


def _out(kiln: Kiln, charges: Sequence[Charge], now: datetime) -> set[int]:
    """Return the charges that are out at their end: told so, or a later one is in, or the mill goes by the clock."""
    inside = [one.pk for one in charges if basis_of(one, now) == Basis.RUNNING]
    done = {one.pk for one in charges if one.basis == Basis.DONE}
    return done.union(inside if kiln.mill.charges_end_by_programme else inside[:-1])


def _charge_piece(
    kiln: Kiln, one: Charge, expected_at: datetime | None, window: Window, now: datetime, *, is_out: bool
) -> Piece:
    """Draw a charge; ``expected_at`` is its end where nobody knows that since its kiln stood."""
    basis, end_at = basis_of(one, now), expected_at or one.end_at
    words = _("%(kiln)s, charge %(number)s, %(stand)s: %(species)s %(mm)d mm, %(begin)s to %(end)s") % {
        "kiln": kiln.tag,
        "number": one.number,
        "stand": Basis(basis).label,
        "species": one.species,
        "mm": one.thickness_mm,
        "begin": say_at(one.begin_at),
        "end": say_at(end_at),
    }
    if expected_at is not None:
        words = _("%(words)s (expected: nobody told its end since the kiln stood)") % {"words": words}
    is_late = one.promised_at is not None and one.promised_at < end_at and basis != Basis.DONE
    if is_late:
        words = _("%(words)s; misses its promise, %(promised)s") % {
            "words": words,
            "promised": say_at(one.promised_at or end_at),
        }
    return _piece(
        f"{basis} late" if is_late else basis,
        one.begin_at,
        max(end_at, now) if basis == Basis.RUNNING and not is_out else end_at,
        window,
        f"⚠ {one.number}" if is_late else one.number,
        words,
        charge=one,
    )


def _gap_piece(kiln: Kiln, gap: Gap, window: Window) -> Piece:
    facts = {"kiln": kiln.tag, "begin": say_at(gap.begin_at)}
    if gap.end_at is None:
        words, label = _("%(kiln)s is free from %(begin)s on: plan a charge here") % facts, _("free")
    else:
        label = span(gap.end_at - gap.begin_at)
        facts |= {"end": say_at(gap.end_at), "length": label}
        words = _("%(kiln)s is free from %(begin)s to %(end)s, %(length)s: plan a charge here") % facts
    piece = _piece("gap", gap.begin_at, gap.end_at or window.to_at, window, label, words)
    return replace(piece, end_at=gap.end_at, length=label)


def _overlap_piece(known: dict[int, Charge], one: Overlap, window: Window) -> Piece:
    first, second = known[one.first], known[one.second]
    words = _("%(second)s should begin on %(begin)s, but %(first)s holds the kiln until %(end)s: they overlap.") % {
        "first": first.number,
        "second": second.number,
        "begin": say_at(one.begin_at),
        "end": say_at(one.end_at),
    }
    return _piece("overlap", one.begin_at, one.end_at, window, "", words)


def _piece(
    kind: str,
    begin_at: datetime,
    end_at: datetime,
    window: Window,
    label: str,
    words: str,
    charge: Charge | None = None,
) -> Piece:
    left = window.share(begin_at)
    width = round(window.share(end_at) - left, 3)
    return Piece(kind, left, width, label if width > LEAST_FOR_LABEL else "", words, charge, begin_at)
