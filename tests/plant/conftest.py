"""A real server with a mill of its own, for the tests that kill processes."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from django.db import connection

from tests.plant.broker import Broker
from tests.plant.receiving import make_mill, port_of_broker
from tests.plant.serving import Server


def on_postgresql(statement: str) -> None:
    """Run a statement about whole databases; nothing to do on SQLite, where they are files."""
    if connection.vendor == "postgresql":
        where = {"host": os.environ["PGHOST"], "user": os.environ.get("PGUSER", "postgres"), "dbname": "postgres"}
        with psycopg.connect(**where, autocommit=True) as session:  # type: ignore[arg-type]
            session.execute(statement)  # type: ignore[call-overload]


@pytest.fixture(scope="session")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Give a server that never starts, with an empty database to copy."""
    server = Server(tmp_path_factory.mktemp("mill"))
    on_postgresql(f'CREATE DATABASE "{server.database}"')
    done = server.manage("migrate", "-v0")
    assert done.returncode == 0, done.stderr
    yield server
    on_postgresql(f'DROP DATABASE "{server.database}" WITH (FORCE)')


@contextmanager
def copied(of: Server, folder: Path) -> Iterator[Server]:
    """Give a server with a copy of another one's database; whatever is left of it is killed afterwards."""
    server = Server(folder)
    for file in of.folder.iterdir():
        shutil.copy(file, folder)
    on_postgresql(f'CREATE DATABASE "{server.database}" TEMPLATE "{of.database}"')
    yield server
    server.kill_everything()
    on_postgresql(f'DROP DATABASE "{server.database}" WITH (FORCE)')


@pytest.fixture
def server(migrated: Server, tmp_path: Path) -> Iterator[Server]:
    """Give a server with an empty database of its own."""
    with copied(migrated, tmp_path) as server:
        yield server


@pytest.fixture(scope="session")
def reading_mill(migrated: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Give a server that never starts, with a mill that readings are sent to, to copy."""
    with copied(migrated, tmp_path_factory.mktemp("reading-mill")) as server:
        make_mill(server)
        yield server


@pytest.fixture
def receiver(reading_mill: Server, tmp_path: Path) -> Iterator[Server]:
    """Give a server with a mill of its own that readings are sent to."""
    with copied(reading_mill, tmp_path) as server:
        yield server


@pytest.fixture
def broker(receiver: Server, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """Give a broker that runs where the mill looks for it."""
    broker = Broker(tmp_path_factory.mktemp("broker"), port_of_broker(receiver))
    yield broker
    broker.end()
