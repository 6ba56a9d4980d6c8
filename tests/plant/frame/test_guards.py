"""The database itself refuses what must never happen."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.checks import run_checks
from django.db import DatabaseError, connection, transaction

from maintenance.models import EntryPermit
from plant.checks import LEDGERS
from plant.models import Change, Charge, Kiln, Mill, Person

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def kiln(db: Any) -> Kiln:
    mill = Mill.objects.create(name="Fallow Bridge Sawmill")
    return Kiln.objects.create(mill=mill, tag="K1", usable_m3=60, heating_medium="steam", humidifying="none")


def charge(kiln: Kiln, number: str, start: datetime, days: int) -> Charge:
    end = start + timedelta(days=days)
    return Charge.objects.create(
        kiln=kiln,
        number=number,
        species="spruce",
        thickness_mm=50,
        volume_m3=50,
        planned_begin_at=start,
        planned_end_at=end,
        begin_at=start,
        end_at=end,
    )


def a_permit(kiln: Kiln) -> EntryPermit:
    """Return a permit as the ledger keeps it."""
    people = [Person.objects.create(code=name, name=name) for name in ("per", "oda")]
    return EntryPermit.objects.create(
        key=uuid4(),
        kiln=kiln,
        act="opened",
        at=NOON,
        locked_out_by=people[0],
        watch_outside=people[1],
        temperature_c=25,
        is_escape_door_tried=True,
    )


@pytest.mark.parametrize("verb", ["update", "delete"])
def test_the_history_cannot_be_rewritten(kiln: Kiln, verb: str) -> None:
    Change.record(kiln, "put on record", by=None)
    with pytest.raises(DatabaseError, match="add a correcting entry"), transaction.atomic():
        getattr(Change.objects.all(), verb)(**({"note": "never mind"} if verb == "update" else {}))
    assert Change.objects.about(kiln).get().note == ""


def test_the_history_cannot_be_replaced_or_emptied(kiln: Kiln) -> None:
    Change.record(kiln, "put on record", by=None)
    row = Change.objects.about(kiln).get()
    columns = [field.column for field in Change._meta.concrete_fields]
    if connection.vendor == "sqlite":
        change = f"INSERT OR REPLACE INTO plant_change SELECT {', '.join(columns)} FROM plant_change"
    else:
        change = "SET CONSTRAINTS ALL IMMEDIATE; TRUNCATE plant_change"
    with pytest.raises(DatabaseError, match="add a correcting entry"), transaction.atomic():
        connection.cursor().execute(change)
    assert Change.objects.about(kiln).get() == row


def test_a_permit_is_not_replaced_by_another_one_under_its_key(kiln: Kiln) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL has no INSERT OR REPLACE")
    permit = a_permit(kiln)
    fields = [field for field in type(permit)._meta.concrete_fields if field.column != "id"]
    columns = ", ".join(field.column for field in fields)
    with pytest.raises(DatabaseError, match="add a correcting entry"), transaction.atomic():
        connection.cursor().execute(
            f"INSERT OR REPLACE INTO maintenance_entrypermit ({columns}) SELECT {columns} FROM maintenance_entrypermit"
        )
    assert type(permit).objects.get().pk == permit.pk


def missing_guards() -> list[str | None]:
    """Return what the check says of guards; a server for tests may keep its data loosely, which is said beside it."""
    found = run_checks(databases=["default"], tags=["database"])
    return [message.id for message in found if message.id != "plant.W002"]


def test_every_ledger_has_its_guard(db: Any) -> None:
    assert missing_guards() == []


def test_a_lost_guard_is_found(db: Any) -> None:
    on = "" if connection.vendor == "sqlite" else " ON plant_change"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER plant_change_no_update{on}")
    assert missing_guards() == ["plant.E010"]
    assert "plant.Change" in LEDGERS


def test_two_charges_never_share_a_kiln(kiln: Kiln) -> None:
    charge(kiln, "1", NOON, 5)
    with pytest.raises(DatabaseError, match="charge_no_overlap"), transaction.atomic():
        charge(kiln, "2", NOON + timedelta(days=4), 5)
    charge(kiln, "3", NOON + timedelta(days=5), 5)
    assert kiln.charges.count() == 2


def test_a_charge_may_be_moved_but_not_onto_another(kiln: Kiln) -> None:
    first, second = charge(kiln, "1", NOON, 5), charge(kiln, "2", NOON + timedelta(days=6), 5)
    Charge.objects.filter(pk=first.pk).update(end_at=second.begin_at)
    with pytest.raises(DatabaseError, match="charge_no_overlap"), transaction.atomic():
        Charge.objects.filter(pk=first.pk).update(end_at=second.begin_at + timedelta(hours=1))
