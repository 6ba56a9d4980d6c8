"""What was used of a part, month by month, and its picture."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from inventory.models import Part, StockMove
from plant import clock

ZERO = Decimal(0)
MONTHS_SHOWN = 14
# The picture's size, in its own units.
WIDTH, HEIGHT, FOOT = 560, 130, 24
GAP_SHARE = 0.3


@dataclass(frozen=True)
class MonthOfUse:
    """What left for use in a month less what came back; planned is what a planned need had set aside."""

    first_on: date
    planned: Decimal
    unplanned: Decimal

    @property
    def total(self) -> Decimal:
        """All that was used."""
        return self.planned + self.unplanned


@dataclass(frozen=True)
class Column:
    """A month in the picture: positions in the picture's units."""

    month: MonthOfUse
    x: str
    middle: str
    width: str
    planned_y: str
    planned_height: str
    unplanned_y: str
    unplanned_height: str


def months_of_use(part: Part, day: date, zone: ZoneInfo) -> list[MonthOfUse]:
    """Return the last months of use, the oldest first; one query."""
    firsts = [_months_before(day, back) for back in reversed(range(MONTHS_SHOWN))]
    planned, unplanned = dict.fromkeys(firsts, ZERO), dict.fromkeys(firsts, ZERO)
    moves = StockMove.objects.that_stand().filter(
        part=part,
        kind__in=[StockMove.Kind.ISSUE, StockMove.Kind.RETURN],
        at__gte=clock.start_of_day(firsts[0], zone),
    )
    for at, quantity, is_planned in moves.values_list("at", "quantity", "reservation__is_planned"):
        first_on = at.astimezone(zone).date().replace(day=1)
        book = planned if is_planned else unplanned
        if first_on in book:
            book[first_on] -= quantity
    return [MonthOfUse(first_on, planned[first_on], unplanned[first_on]) for first_on in firsts]


def draw(months: list[MonthOfUse]) -> list[Column]:
    """Return the columns of the picture; a month in which more came back than left stands empty."""
    most = max((month.total for month in months), default=ZERO) or Decimal(1)
    step = WIDTH / len(months)
    columns = []
    for number, month in enumerate(months):
        # A return may belong to an issue of the month before: neither part is drawn below the line.
        planned, unplanned = (
            float(max(part, ZERO) / most) * (HEIGHT - FOOT) for part in (month.planned, month.unplanned)
        )
        ground = HEIGHT - FOOT
        columns.append(
            Column(
                month=month,
                x=f"{number * step + step * GAP_SHARE / 2:.1f}",
                middle=f"{(number + 0.5) * step:.1f}",
                width=f"{step * (1 - GAP_SHARE):.1f}",
                planned_y=f"{ground - planned:.1f}",
                planned_height=f"{planned:.1f}",
                unplanned_y=f"{ground - planned - unplanned:.1f}",
                unplanned_height=f"{unplanned:.1f}",
            )
        )
    return columns


def _months_before(day: date, back: int) -> date:
    index = day.year * 12 + day.month - 1 - back
    return date(index // 12, index % 12 + 1, 1)
