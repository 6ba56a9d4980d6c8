"""Emptying the tests' database after a test that was no transaction, past the guards of the ledgers."""

import sqlite3
from typing import Any

from django.db import connection

# What the migrations themselves have written.
WRITTEN = {"django_migrations", "django_content_type", "auth_permission"}
_as_migrated: Any = None


def keep_as_migrated() -> None:
    """Keep what SQLite's database is like before the first test."""
    global _as_migrated
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        _as_migrated = sqlite3.connect(":memory:")
        connection.connection.backup(_as_migrated)


def empty_again() -> None:
    """Leave the database as the migrations left it."""
    if connection.vendor == "sqlite":
        _as_migrated.backup(connection.connection)
        return
    tables = [name for name in connection.introspection.table_names() if name not in WRITTEN]
    asked = " UNION ALL ".join(f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM \"{name}\")" for name in tables)
    with connection.cursor() as cursor:
        cursor.execute(asked)
        filled = [name for (name,) in cursor.fetchall()]
        # A superuser's session in which triggers rest, those of foreign keys among them.
        cursor.execute("SET session_replication_role = replica")
        for name in filled:
            cursor.execute(f'DELETE FROM "{name}"')
        cursor.execute("SET session_replication_role = DEFAULT")
