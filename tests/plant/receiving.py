"""A mill that readings are sent to, served by real processes, and what came into its database."""

import os
import sqlite3
import subprocess
import sys
from typing import Any

import psycopg

from tests.plant.broker import PASSWORD
from tests.plant.serving import ROOT, Server, free_port, until

TOKEN = "token.txt"
READINGS = "SELECT quantity, at_s, value FROM plant_reading r JOIN plant_channel c ON c.id = r.channel_id"


def make_mill(server: Server) -> None:
    """Make the mill in the database of a server, and keep the token of its sender in the server's folder."""
    port = free_port()
    done = subprocess.run(
        [sys.executable, "-m", "tests.plant.reading_driver", str(port)],
        cwd=ROOT,
        env=server.environ,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    (server.folder / TOKEN).write_text(done.stdout.strip())


def token_of(server: Server) -> str:
    """Return the token of the source that sends."""
    return (server.folder / TOKEN).read_text()


def port_of_broker(server: Server) -> int:
    """Return where the mill looks for its broker."""
    return int(sql(server, "SELECT broker_port FROM plant_readingsource WHERE code = 'loggers'")[0][0])


def sql(server: Server, statement: str) -> list[tuple[Any, ...]]:
    """Run a statement in the server's database, and return its rows where it has any."""
    if server.database:
        where = {"host": os.environ["PGHOST"], "user": os.environ.get("PGUSER", "postgres"), "dbname": server.database}
        with psycopg.connect(**where, autocommit=True) as session:  # type: ignore[arg-type]
            found = session.execute(statement)  # type: ignore[call-overload]
            return found.fetchall() if found.description else []
    file = sqlite3.connect(server.folder / "kilnward.sqlite3", timeout=20, isolation_level=None)
    try:
        return file.execute(statement).fetchall()
    finally:
        file.close()


def readings(server: Server) -> list[tuple[str, int, float]]:
    """Return (quantity, second, value) of all that is stored, in the order of time."""
    return [(quantity, at_s, value) for quantity, at_s, value in sql(server, f"{READINGS} ORDER BY at_s, quantity")]


def count(server: Server) -> int:
    """Return how many readings are stored."""
    return int(sql(server, "SELECT COUNT(*) FROM plant_reading")[0][0])


class Listening:
    """A running ``manage.py listen`` of a server's mill."""

    def __init__(self, server: Server, password: str = PASSWORD) -> None:
        self.output = server.folder / "listening.txt"
        with self.output.open("ab") as stream:
            self.size = stream.tell()
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "listen"],
                cwd=ROOT,
                env={**server.environ, "KILNWARD_BROKER_PASSWORD_LOGGERS": password},
                stdout=stream,
                stderr=stream,
            )

    def says(self, words: str) -> None:
        """Wait until it says something."""
        until(lambda: words in self.said() or self.process.poll() is not None, words)
        assert words in self.said()

    def said(self) -> str:
        """Return what it said so far."""
        return self.output.read_bytes()[self.size :].decode()

    def stop(self) -> int:
        """Tell it to end and return its exit code."""
        self.process.terminate()
        return self.process.wait(60)

    def kill(self) -> None:
        """End it at once, wherever it is."""
        self.process.kill()
        self.process.wait(60)
