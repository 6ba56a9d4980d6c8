"""Units of temperature and volume that a mill may prefer; everything is kept in °C and m³."""

from dataclasses import dataclass
from decimal import Decimal

BOARD_FEET_PER_M3 = Decimal("423.776")
"""A board foot is 144 cubic inches, an inch 25.4 mm exactly (international yard, 1959): 1 m³ = 423.776 board feet."""

KEPT_TO = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class Scale:
    """A unit as ``shown = kept * factor + offset``; a figure in it is typed with so many ``decimals``."""

    unit: str
    factor: Decimal
    offset: Decimal
    decimals: int

    def shown(self, kept: Decimal) -> Decimal:
        """Return a figure in this unit.

        Parameters
        ----------
        kept : Decimal
            In °C or m³.
        """
        return kept * self.factor + self.offset

    def kept(self, shown: Decimal) -> Decimal:
        """Return what a figure in this unit is in °C or m³, to the thousandth.

        Two figures that differ as typed differ as kept, and in the same order: a limit is neither met nor passed by
        rounding. That holds as long as a step of the last decimal typed is more than a thousandth of °C or m³.
        """
        return ((shown - self.offset) / self.factor).quantize(KEPT_TO)

    def rounded(self, kept: Decimal) -> Decimal:
        """Return a figure in this unit, rounded to the decimals it is typed with."""
        return self.shown(kept).quantize(Decimal(1).scaleb(-self.decimals))


# °F = °C x 9/5 + 32: NIST SP 811 (2008), appendix B.8.
CELSIUS = Scale("°C", Decimal(1), Decimal(0), 1)
FAHRENHEIT = Scale("°F", Decimal("1.8"), Decimal(32), 1)
CUBIC_METRES = Scale("m³", Decimal(1), Decimal(0), 3)
BOARD_FEET = Scale("board feet", BOARD_FEET_PER_M3, Decimal(0), 0)
METRES = Scale("m", Decimal(1), Decimal(0), 0)
# 1 ft = 0.3048 m exactly (international foot, 1959).
FEET = Scale("ft", 1 / Decimal("0.3048"), Decimal(0), 0)
