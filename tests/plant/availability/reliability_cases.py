"""The availability cases of tests/reference/reliability, read into our own records."""

import csv
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

from plant.basics.periods import Period
from plant.charges.calculations.downtime import DeratingRule, Downtime, DowntimeKind
from plant.charges.calculations.time_account import TimeAccount, account

FOLDER = Path(__file__).parents[2] / "reference" / "reliability"
KILN = 1


@dataclass(frozen=True)
class Case:
    name: str
    period: Period
    drawn_at: datetime
    records: tuple[Downtime, ...]
    expected: dict[str, str]

    def account(self, rule: DeratingRule = DeratingRule.ADDITIVE) -> TimeAccount:
        return account(self.records, self.period, self.drawn_at, rule=rule)

    def hours(self, column: str) -> Fraction:
        return Fraction(self.expected[column])


def cases() -> list[Case]:
    records: dict[str, list[Downtime]] = {}
    for row in _rows("availability_records.csv"):
        records.setdefault(row["case"], []).append(_record(row))
    return [_case(row, tuple(records.get(row["case"], []))) for row in _rows("availability_expected.csv")]


def formulas() -> dict[str, dict[str, str]]:
    return {row["id"]: row for row in _rows("availability_formulas.csv")}


def _rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _instant(local: str, zone: str, fold: str = "0") -> datetime:
    return datetime.fromisoformat(local).replace(tzinfo=ZoneInfo(zone), fold=int(fold)).astimezone(UTC)


def _record(row: dict[str, str]) -> Downtime:
    zone = row["time_zone"]
    return Downtime(
        KILN,
        _instant(row["start_local"], zone, row["start_fold"]),
        _instant(row["end_local"], zone, row["end_fold"]) if row["end_local"] else None,
        DowntimeKind(row["kind"]),
        int(Decimal(row["share_of_capacity_lost"]) * 1000),
    )


# AV-10 says in words when its report was drawn: on 5 February, after the period.
_DRAWN_LATER = {"AV-10": "2026-02-05 00:00"}


def _case(row: dict[str, str], records: tuple[Downtime, ...]) -> Case:
    zone = row["time_zone"]
    period = Period(_instant(row["period_start_local"], zone), _instant(row["period_end_local"], zone))
    drawn = row["report_drawn_local"] or _DRAWN_LATER.get(row["case"], "")
    return Case(row["case"], period, _instant(drawn, zone) if drawn else period.end_at, records, row)
