"""Set up the demo mill in the database, once for a day, and clear it away again."""

import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from django.contrib.auth.hashers import make_password
from django.core.management import call_command
from django.db import connection, transaction

from maintenance.demo.chamber_tests import record_chamber_tests
from maintenance.demo.in_hand import ask_for_work
from maintenance.demo.prices import price_the_seal
from maintenance.demo.told import tell_charges
from maintenance.demo.writing import write_demo
from maintenance.loading.faults import Report
from maintenance.loading.loader import load_folder
from plant.background.keeper import kept_elsewhere
from plant.models import Change, Mill, User

SET_UP = "demo mill set up"
# Shown by the command and in the README: it opens invented data only.
DEMO_PASSWORD = "fallow-bridge-demo"  # noqa: S105


class OtherMillError(ValueError):
    """The database holds a mill that is not the demo's."""


class OtherDayError(ValueError):
    """The demo stands on another day than the one asked for."""

    def __init__(self, stands_on: date) -> None:
        super().__init__(stands_on.isoformat())
        self.stands_on = stands_on


class ServedError(RuntimeError):
    """A server is at work on the demo that was to be cleared; holds that server's identity."""


@dataclass(frozen=True)
class DemoDay:
    """The day on which the demo stands, and how it came to that."""

    day: date
    # The day is over: the program must be told to stand on it.
    is_past: bool = False


def day_of_demo() -> date | None:
    """Return the day for which the database's demo mill was set up; None where there is no demo mill."""
    mill = Mill.objects.first()
    if mill is None:
        return None
    entry = Change.objects.about(mill).filter(act=SET_UP).last()
    return date.fromisoformat(entry.after["day"]) if entry else None


def stand_up(today: date, asked_for: date | None, *, is_fresh: bool, months: int = 14) -> DemoDay:
    """See to it that the demo mill is there, and say on which day it stands.

    A demo that is there is never overwritten unless a fresh one is asked for: somebody may have worked in it.

    Raises
    ------
    OtherMillError
        where the database holds another mill.
    OtherDayError
        where a day was asked for and the demo stands on another.
    ServedError
        where a demo that is being served was to be cleared.
    """
    stands_on = day_of_demo()
    if stands_on is None and Mill.objects.exists():
        raise OtherMillError
    wanted = asked_for or today
    if stands_on is not None and not is_fresh:
        if asked_for is not None and stands_on != asked_for:
            raise OtherDayError(stands_on)
        return DemoDay(stands_on, is_past=stands_on != today)
    with transaction.atomic():
        if stands_on is not None:
            server = kept_elsewhere()
            if server:
                raise ServedError(server)
            clear_demo()
        set_up(wanted, months=months)
    return DemoDay(wanted, is_past=wanted != today)


@transaction.atomic
def set_up(day: date, *, months: int = 14) -> Report:
    """Write the demo's files, load them as a mill's own are loaded, and let people and open work be there."""
    with tempfile.TemporaryDirectory(prefix="fallow-bridge-") as name:
        folder = Path(name)
        write_demo(folder, day, months=months)
        report = load_folder(folder)
    if not report.is_sound:
        faults = "\n".join(str(fault) for fault in report.faults[:20])
        raise AssertionError(f"the demo's own files have faults:\n{faults}")
    price_the_seal()
    record_chamber_tests()
    # The password is public, so one hash serves all; eight would take seconds.
    User.objects.update(password=make_password(DEMO_PASSWORD))
    ask_for_work(day)
    tell_charges(day)
    Change.record(Mill.objects.current(), SET_UP, by=None, after={"day": day.isoformat()})
    return report


@transaction.atomic
def clear_demo() -> None:
    """Empty every table of a database that holds the demo mill, its ledgers too.

    Raises
    ------
    OtherMillError
        where the database holds another mill, or none.
    """
    if day_of_demo() is None:
        raise OtherMillError
    is_sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        # Ledgers refuse to lose a row: their guards rest here alone.
        if is_sqlite:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            guards = cursor.fetchall()
            rest = [f"DROP TRIGGER {connection.ops.quote_name(name)}" for name, _ in guards]
            wake = [statement for _, statement in guards]
        else:
            cursor.execute("SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal")
            tables = [name for (name,) in cursor.fetchall()]
            rest = [f"ALTER TABLE {name} DISABLE TRIGGER USER" for name in tables]
            wake = [f"ALTER TABLE {name} ENABLE TRIGGER USER" for name in tables]
        for statement in rest:
            cursor.execute(statement)
        call_command("flush", verbosity=0, interactive=False)
        for statement in wake:
            cursor.execute(statement)
