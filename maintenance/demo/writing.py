"""Write all files of the demo mill for a day."""

from datetime import date
from pathlib import Path

from maintenance.demo.fittings import fitting_rows
from maintenance.demo.programme import charge_rows, downtime_rows, make_story, meter_rows
from maintenance.demo.rounds import Rounds
from maintenance.demo.storeroom import Storeroom
from maintenance.demo.upkeep import Upkeep
from maintenance.demo.world import Row, World, read_static, write_rows
from maintenance.loading.loader import TABLES

# Files that are the same every day but for days counted from it.
STATIC = (
    "mill",
    "kilns",
    "components",
    "channels",
    "shifts",
    "crew",
    "absences",
    "suppliers",
    "bins",
    "parts",
    "terms",
)


def write_demo(folder: Path, day: date, *, months: int = 14) -> None:
    """Write the files of Fallow Bridge Sawmill as they stand on the morning of a day; the same bytes for the same day.

    Parameters
    ----------
    folder : Path
        an existing folder
    day : date
        the demo's present
    months : int
        how much past it has, 2 or more
    """
    world = World(day, months)
    stories = [make_story(world, kiln) for kiln in world.kilns]
    upkeep = Upkeep(world, stories)
    rounds = Rounds(world, stories)
    storeroom = Storeroom(world, upkeep.work)
    files: dict[str, list[Row]] = {
        name: [{key: world.fill_days(value) for key, value in row.items()} for row in read_static(name)]
        for name in STATIC
    }
    files |= {
        "charges": charge_rows(world, stories),
        "downtime": downtime_rows(stories),
        "meter_readings": meter_rows(world, stories),
        "fittings": fitting_rows(world, stories),
        "recurring_tasks": [task.row for task in upkeep.tasks],
        "work_done": [work.row for work in upkeep.work],
        "proof_tests": upkeep.proof_tests(),
        "orders": storeroom.orders,
        "stock": storeroom.counts,
        "stock_moves": storeroom.moves,
        "function_checks": rounds.checks,
        "check_findings": rounds.findings,
        "defects": rounds.defect_rows(),
    }
    headers = {table.name: table.column_names() for table in TABLES}
    for name, rows in files.items():
        write_rows(folder, name, headers[name], rows)
