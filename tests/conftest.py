"""What all tests share. The database is chosen in tests/databases.py, before anything reads the settings."""

import os
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import settings as hypothesis_settings

# How long an example takes is the machine's affair: no test fails by it.
hypothesis_settings.register_profile("kilnward", deadline=None)
hypothesis_settings.load_profile("kilnward")


@pytest.fixture(autouse=True)
def _quick_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _no_plan_of_another_test() -> None:
    """Forget plans that the process keeps: another test's database has the same keys for other rows."""
    from maintenance.plan_states import forget

    forget()


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
    """Let tables be emptied past the ledgers' triggers between browser tests."""
    from django.db import connection
    from django.db.backends.postgresql.base import DatabaseOperations as PostgresqlOperations
    from django.db.backends.sqlite3.base import DatabaseOperations

    original = DatabaseOperations.sql_flush
    original_postgresql = PostgresqlOperations.sql_flush

    def flush(self: Any, *args: Any, **kwargs: Any) -> list[str]:
        with connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        drop = [f"DROP TRIGGER {name}" for name, _ in triggers]
        return [*drop, *original(self, *args, **kwargs), *(sql for _, sql in triggers)]

    def flush_postgresql(self: Any, *args: Any, **kwargs: Any) -> list[str]:
        statements = original_postgresql(self, *args, **kwargs)
        # A superuser's session in which triggers rest.
        rest, wake = "SET session_replication_role = replica", "SET session_replication_role = DEFAULT"
        return [rest, *statements, wake] if statements else []

    DatabaseOperations.sql_flush = flush  # type: ignore[method-assign]
    PostgresqlOperations.sql_flush = flush_postgresql  # type: ignore[method-assign]
    yield
    DatabaseOperations.sql_flush = original  # type: ignore[method-assign]
    PostgresqlOperations.sql_flush = original_postgresql  # type: ignore[method-assign]
