"""The database is away, the disk is full, or a request makes no sense: each is said, none is a fault of the program."""

import errno
import logging
import sqlite3
import stat
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import InterfaceError, OperationalError, connection
from django.test import Client

from plant.frame.database_away import is_away
from plant.frame.typed_numbers import row_number
from plant.models import Person
from tests.factories import MillFactory
from tests.maintenance.mill import a_user, signed_in


def from_sqlite(code: int) -> OperationalError:
    cause = sqlite3.OperationalError("as SQLite says it")
    cause.sqlite_errorcode = code
    fault = OperationalError("as Django says it")
    fault.__cause__ = cause
    return fault


def from_postgresql(cause: psycopg.Error) -> OperationalError:
    fault = OperationalError(str(cause))
    fault.__cause__ = cause
    return fault


@pytest.mark.parametrize(
    ("fault", "away"),
    [
        (from_sqlite(5), True),  # busy
        (from_sqlite(13), True),  # full
        (from_sqlite(14), True),  # cannot be opened
        (from_sqlite(1), False),  # no such table: a fault of ours
        (from_postgresql(psycopg.errors.DiskFull("no space left")), True),
        (from_postgresql(psycopg.OperationalError("connection refused")), True),
        (InterfaceError("connection already closed"), True),
        (OSError(errno.ENOSPC, "No space left on device"), True),
        (OSError(errno.ENOENT, "No such file"), False),
        (ValueError("ours"), False),
        (None, False),
    ],
)
def test_what_passes_by_itself_is_told_from_a_fault_of_the_program(fault: Exception | None, away: bool) -> None:
    assert is_away(fault) is away


@pytest.mark.django_db
@pytest.mark.parametrize("where", ["plant.middleware.Mill.objects.first", "maintenance.kilns.pages.render"])
def test_while_the_database_is_away_a_page_says_so_in_one_line_of_the_log(
    where: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], settings: Any
) -> None:
    MillFactory()
    client = signed_in(Client(raise_request_exception=False), a_user("kiln_master"))

    def away(*args: Any, **kwargs: Any) -> None:
        raise from_sqlite(13)

    monkeypatch.setattr(where, away)
    logging.config.dictConfig(settings.LOGGING)
    capfd.readouterr()
    answer = client.get("/kilns/")
    assert (answer.status_code, answer["Retry-After"]) == (503, "5")
    assert "the disk is full" in answer.content.decode()
    said = capfd.readouterr().err.strip().splitlines()
    assert len(said) == 1
    assert "as Django says it" in said[0]


@pytest.mark.django_db(transaction=True)
def test_on_a_full_disk_nothing_is_stored_and_that_is_said() -> None:
    if connection.vendor != "sqlite":
        pytest.skip("PostgreSQL's disk is not ours to fill")
    MillFactory()
    planner = signed_in(Client(raise_request_exception=False), a_user("planner"))
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE filler (filling BLOB)")
        cursor.execute("PRAGMA page_count")
        cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        try:
            with pytest.raises(OperationalError) as full:
                for _ in range(1000):
                    cursor.execute("INSERT INTO filler VALUES (randomblob(4000))")
            assert is_away(full.value)
            before, stored = Person.objects.count(), 0
            for number in range(500):
                said = {"code": f"hand-{number}", "name": f"{'n' * 70} {number}", "email": f"{'e' * 60}@mill.example"}
                status = planner.post("/new-person/", said).status_code
                if status != 302:
                    break
                stored += 1
            assert status == 503
            assert Person.objects.count() == before + stored
        finally:
            cursor.execute("PRAGMA max_page_count = 1073741823")
            cursor.execute("DROP TABLE filler")


@pytest.mark.parametrize(
    ("text", "number"),
    [("7", 7), ("²", 0), ("٣", 0), ("-1", 0), ("", 0), ("9" * 19, 0), ("9" * 30, 0)],
)
def test_a_digit_that_is_none_names_no_row(text: str, number: int) -> None:
    assert row_number(text) == number


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address",
    ["/kilns/?kiln=%00", "/kilns/a%00b/", "/openings/plans/new/?again=²", "/background/99999999999999999999/"],
)
def test_an_address_that_means_nothing_is_no_failure(address: str) -> None:
    MillFactory()
    assert signed_in(Client(), a_user("planner")).get(address).status_code in (200, 400, 404)


@pytest.mark.django_db
def test_a_form_with_nul_and_a_page_from_nowhere_are_no_failure(client: Client) -> None:
    MillFactory()
    planner = signed_in(Client(), a_user("planner"))
    assert planner.post("/openings/plans/new/", {"name": "a\0b"}).status_code in (200, 400)
    answer = client.post("/openings/plans/new/", {"name": "a"}, headers={"referer": "http://[elsewhere"})
    assert answer.status_code in (302, 403)


def test_nobody_else_on_the_machine_reads_the_database(tmp_path: Path) -> None:
    from plant.apps import _keep_to_its_owner

    file = tmp_path / "kilnward.sqlite3"
    file.touch(mode=0o644)

    class Connection:
        vendor = "sqlite"
        settings_dict = {"NAME": file}

    _keep_to_its_owner(Connection())
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
