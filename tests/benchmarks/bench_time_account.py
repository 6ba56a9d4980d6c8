"""The time account of 120 kilns over five years, month by month, against one raw SQL pass over the same rows."""

import itertools
import random
import sqlite3
from collections.abc import Sequence
from datetime import UTC, date, datetime

from plant.basics.periods import CalendarUnit, calendar_periods
from plant.charges.calculations.charge_phases import RUNNING_PHASES, PhaseKind, PhaseRow
from plant.charges.calculations.downtime import WHOLE, DowntimeKind, DowntimeRow
from plant.charges.calculations.time_account import AccountGrid, account_grid
from tests.benchmarks.harness import BenchmarkError, Measured, at_most, timed

KILNS = 120
CHARGES_A_YEAR = 50
RECORDS_A_YEAR = 40
FIRST_YEAR, LAST_YEAR = 2021, 2025
REPEATS = 5
SAMPLE_CELLS = 60
MOST_TIMES_AS_LONG = 5
YEAR_S = 8766 * 3600
START_S = int(datetime(FIRST_YEAR, 1, 1, tzinfo=UTC).timestamp())
DRAWN_S = int(datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC).timestamp())

FIGURES = (
    "unplanned",
    "planned",
    "no timber",
    "external",
    "slowed",
    "slowed from outside",
    "required slowed",
    "required slowed from outside",
    "required down",
    "required external",
    "operating",
)

DOWNTIME_SQL = "SELECT kiln, start_s, end_s, kind, share FROM downtime ORDER BY kiln, start_s"
PHASE_SQL = "SELECT kiln, start_s, end_s, kind FROM phase ORDER BY kiln, start_s"


def run() -> list[Measured]:
    """Measure reading and accounting together against reading alone."""
    connection = _mill()
    edges_s = _month_edges_s()

    def ours() -> AccountGrid:
        downtime_rows, phase_rows = _read(connection)
        return account_grid(downtime_rows, edges_s, DRAWN_S, phase_rows, range(KILNS))

    reading_s, (downtime_rows, phase_rows) = timed(lambda: _read(connection), REPEATS)
    accounting_s, grid = timed(ours, REPEATS)
    _compare_with_reference(grid, downtime_rows, phase_rows)
    ratio = accounting_s / reading_s
    count = len(downtime_rows) + len(phase_rows)
    name = f"time account of {KILNS} kilns over {len(edges_s) - 1} months, {count:,} rows, against reading them"
    return [Measured(name, accounting_s, reading_s, "s", ratio, at_most(MOST_TIMES_AS_LONG))]


def _read(connection: sqlite3.Connection) -> tuple[list[DowntimeRow], list[PhaseRow]]:
    """Read every row once, kiln by kiln in order of time."""
    return connection.execute(DOWNTIME_SQL).fetchall(), connection.execute(PHASE_SQL).fetchall()


def _month_edges_s() -> list[int]:
    months = calendar_periods(CalendarUnit.MONTH, date(FIRST_YEAR, 1, 1), date(LAST_YEAR, 12, 31), "Europe/Stockholm")
    return [month.start_s for month in months] + [months[-1].end_s]


def _mill() -> sqlite3.Connection:
    """Build the tables in memory: the same rows each time."""
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE downtime (kiln INTEGER, start_s INTEGER, end_s INTEGER, kind TEXT, share INTEGER)")
    connection.execute("CREATE TABLE phase (kiln INTEGER, start_s INTEGER, end_s INTEGER, kind TEXT)")
    connection.execute("CREATE INDEX downtime_by_start ON downtime (kiln, start_s)")
    connection.execute("CREATE INDEX phase_by_start ON phase (kiln, start_s)")
    chance = random.Random(20260101)
    for kiln in range(KILNS):
        connection.executemany("INSERT INTO downtime VALUES (?, ?, ?, ?, ?)", _records_of(kiln, chance))
        connection.executemany("INSERT INTO phase VALUES (?, ?, ?, ?)", _phases_of(kiln, chance))
    return connection


def _records_of(kiln: int, chance: random.Random) -> list[DowntimeRow]:
    rows: list[DowntimeRow] = []
    for _ in range(RECORDS_A_YEAR * (LAST_YEAR - FIRST_YEAR + 1)):
        start_s = chance.randrange(START_S, DRAWN_S)
        length_s = int(chance.expovariate(1 / (9 * 3600))) + 600
        kind = chance.choice(tuple(DowntimeKind)).value
        end_s = start_s + length_s
        rows.append((kiln, start_s, end_s if end_s < DRAWN_S else None, kind, chance.choice((WHOLE, WHOLE, 400, 250))))
    return rows


def _phases_of(kiln: int, chance: random.Random) -> list[PhaseRow]:
    rows: list[PhaseRow] = []
    cycle_s = YEAR_S // CHARGES_A_YEAR
    for begin_s in range(START_S, DRAWN_S, cycle_s):
        cuts_s = sorted(chance.randrange(begin_s, begin_s + cycle_s - 3600) for _ in range(len(PhaseKind) + 1))
        for kind, start_s, end_s in zip(PhaseKind, cuts_s, cuts_s[1:], strict=False):
            rows.append((kiln, start_s, end_s, kind.value))
    return rows


def _compare_with_reference(grid: AccountGrid, downtime: Sequence[DowntimeRow], phases: Sequence[PhaseRow]) -> None:
    """Work out a sample of cells again, slowly and in another way; a fast wrong answer is no answer."""
    chance = random.Random(7)
    for _ in range(SAMPLE_CELLS):
        kiln, period = chance.randrange(KILNS), chance.randrange(len(grid.edges_s) - 1)
        start_s, end_s = int(grid.edges_s[period]), int(grid.edges_s[period + 1])
        expected = _reference(
            [r for r in downtime if r[0] == kiln], [r for r in phases if r[0] == kiln], start_s, end_s
        )
        account = grid.account(kiln, period)
        found = {
            "unplanned": account.calendar.unplanned_s,
            "planned": account.calendar.planned_s,
            "no timber": account.required.no_timber_s,
            "external": account.calendar.external_s,
            "slowed": account.calendar.slowed_ms,
            "slowed from outside": account.calendar.slowed_external_ms,
            "required slowed": account.required.slowed_ms,
            "required slowed from outside": account.required.slowed_external_ms,
            "required down": account.required.down_s,
            "required external": account.required.external_s,
            "operating": account.operating_s,
        }
        if found != expected:
            raise BenchmarkError(f"kiln {kiln}, period {period}: {found} instead of {expected}")


def _reference(downtime: list[DowntimeRow], phases: list[PhaseRow], start_s: int, end_s: int) -> dict[str, int]:
    """Cut the period at every start and end, and ask every record about every piece."""
    records = [(start, DRAWN_S if end is None else end, kind, share) for _, start, end, kind, share in downtime]
    runs = [(start, DRAWN_S if end is None else end) for _, start, end, kind in phases if kind in RUNNING_PHASES]
    instants = {at for start, end, *_ in records for at in (start, end)} | {at for span in runs for at in span}
    cuts = {start_s, end_s} | {at for at in instants if start_s < at < end_s}
    sums = dict.fromkeys(FIGURES, 0)
    ordered = sorted(cuts)
    for at_s, until_s in itertools.pairwise(ordered):
        length_s = until_s - at_s
        active = [(kind, share) for start, end, kind, share in records if start <= at_s < end]
        stops = {kind for kind, share in active if share == WHOLE} - {DowntimeKind.NO_TIMBER}
        slowing = [(kind, share) for kind, share in active if kind != DowntimeKind.NO_TIMBER and share < WHOLE]
        lost_with_outside = min(WHOLE, sum(share for _, share in slowing))
        lost = min(WHOLE, sum(share for kind, share in slowing if kind != DowntimeKind.EXTERNAL))
        has_timber = all(kind != DowntimeKind.NO_TIMBER for kind, _ in active)
        sums["no timber"] += 0 if has_timber else length_s
        if DowntimeKind.UNPLANNED in stops:
            sums["unplanned"] += length_s
        elif DowntimeKind.PLANNED in stops:
            sums["planned"] += length_s
        elif stops:
            sums["external"] += length_s
            sums["required external"] += length_s * has_timber
        else:
            sums["slowed"] += lost * length_s
            sums["slowed from outside"] += (lost_with_outside - lost) * length_s
            sums["required slowed"] += lost * length_s * has_timber
            sums["required slowed from outside"] += (lost_with_outside - lost) * length_s * has_timber
            sums["operating"] += length_s * any(start <= at_s < end for start, end in runs)
        sums["required down"] += length_s * bool(stops - {DowntimeKind.EXTERNAL}) * has_timber
    return sums
