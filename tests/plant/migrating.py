"""Run as ``python -m tests.plant.migrating`` with a test server's environment: migrates, and tells the tables."""

import json
import os
import re
import sys

import django

# What PostgreSQL says of its tables, a kind a statement. What may not be empty is told by the columns: newer versions
# name that too, by the name that a column had at first.
POSTGRESQL = {
    "column": "SELECT table_name, column_name, data_type, is_nullable, is_identity, column_default,"
    " character_maximum_length FROM information_schema.columns WHERE table_schema = 'public'",
    "constraint": "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint"
    " WHERE connamespace = 'public'::regnamespace AND contype <> 'n'",
    "index": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "trigger": "SELECT pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
}


def main(order: str) -> None:
    """Migrate the long way first where that is asked for, then as usual; print what there is."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from django.core.management import call_command

    if order == "long way":
        _begin_the_long_way()
    call_command("migrate", verbosity=0)
    print(json.dumps(sorted(_tables())))  # noqa: T201


def _begin_the_long_way() -> None:
    """Take each storey's first step, as a database did that was begun before there was a shorter way."""
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    executor.loader.replace_migrations = False
    executor.loader.build_graph()
    executor.migrate([(app, "0001_initial") for app in ("plant", "inventory", "maintenance")])


def _tables() -> list[list[str]]:
    """Return tables, columns, constraints, indexes and triggers, whatever the order of a table's columns."""
    from django.db import connection

    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            found = []
            for kind, statement in POSTGRESQL.items():
                cursor.execute(statement)
                found += [[kind, *map(str, row)] for row in cursor.fetchall()]
            return found
        cursor.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        return [[kind, name, *_lines(sql)] for kind, name, sql in cursor.fetchall()]


def _lines(sql: str) -> list[str]:
    return sorted(re.split(r", (?=\"|CONSTRAINT )", sql.removesuffix(")")))


main(*sys.argv[1:])
