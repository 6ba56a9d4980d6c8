"""System checks: what is wrong in a deployment is said at start, with a hint."""

from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig, apps
from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.checks import Warning as Caution
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

from plant.access import access_table

# Tables that must refuse UPDATE and DELETE; each has its guard in a migration named "guards".
LEDGERS = (
    "plant.Change",
    "plant.ChargeWord",
    "inventory.StockMove",
    "maintenance.Finding",
    "maintenance.ProofTest",
    "maintenance.PriceOfWaiting",
    "maintenance.StepRecord",
    "maintenance.TakenBack",
    "maintenance.Labour",
    "maintenance.EntryPermit",
    "maintenance.LetIn",
    "maintenance.EntryMove",
    "maintenance.EntryAlarm",
    "maintenance.ChamberTest",
    "maintenance.SheetVersion",
    "maintenance.PointVersion",
)


@register()
def worker_settings(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse worker settings under which work is lost or done twice."""
    cluster = settings.Q_CLUSTER
    found: list[CheckMessage] = []
    if cluster["retry"] <= cluster["timeout"] + 10:
        found.append(
            Error(
                "A task would be started again while it still runs.",
                hint="Set Q_CLUSTER['retry'] to more than Q_CLUSTER['timeout'] + 10 seconds.",
                id="plant.E002",
            )
        )
    if cluster.get("orm") != "default":
        found.append(
            Error(
                "The task queue must live in the default database.",
                hint="Set Q_CLUSTER['orm'] to 'default': in another one schedules repeat for ever.",
                id="plant.E003",
            )
        )
    return found


@register()
def database_settings(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse database settings that lose writes."""
    database = settings.DATABASES["default"]
    options = database.get("OPTIONS", {})
    found: list[CheckMessage] = []
    if database.get("ATOMIC_REQUESTS"):
        found.append(
            Error(
                "ATOMIC_REQUESTS makes every page wait for the write lock.",
                hint="Leave it off: writes open their own transaction.",
                id="plant.E004",
            )
        )
    if database["ENGINE"].endswith("sqlite3") and options.get("transaction_mode") != "IMMEDIATE":
        found.append(
            Error(
                "SQLite without IMMEDIATE transactions answers “database is locked” under load.",
                hint="Keep SQLITE_OPTIONS of config/settings.py.",
                id="plant.E005",
            )
        )
    if options.get("pool"):
        found.append(
            Error(
                "The connection pool starves the worker.",
                hint="Remove 'pool' from the database's OPTIONS; CONN_MAX_AGE keeps connections open instead.",
                id="plant.E006",
            )
        )
    return found


@register()
def table_of_access(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse a table of access that cannot be read."""
    try:
        access_table()
    except (OSError, KeyError, ValueError) as fault:
        return [Error(f"The table of access cannot be read: {fault}", hint="See config/access.csv.", id="plant.E007")]
    return []


@register(Tags.security, deploy=True)
def encrypted_travel(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[CheckMessage]:
    """Warn where cookies would travel in the clear."""
    if settings.IS_BEHIND_TLS:
        return []
    return [
        Caution(
            "Sign-ins travel unencrypted, and phones keep no rounds offline without https.",
            hint="Give the server a certificate and set KILNWARD_TLS=1.",
            id="plant.W001",
        )
    ]


@register(Tags.database)
def acknowledged_is_on_disk(
    app_configs: Sequence[AppConfig] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Warn where a power cut would lose what was acknowledged."""
    found: list[CheckMessage] = []
    wanted: dict[str, tuple[str, ...]]
    for alias in databases or ():
        connection = connections[alias]
        if connection.vendor == "sqlite":
            wanted = {"synchronous": ("2", "3")}
            told = "PRAGMA {}"
        else:
            wanted = {"fsync": ("on",), "synchronous_commit": ("on", "remote_apply", "remote_write", "local")}
            told = "SHOW {}"
        with connection.cursor() as cursor:
            for setting, good in wanted.items():
                cursor.execute(told.format(setting))
                value = str(cursor.fetchone()[0])
                if value not in good:
                    found.append(
                        Caution(
                            f"The database's setting {setting} is {value}: when the power fails, the last that was "
                            "acknowledged may be lost.",
                            hint=f"Set {setting} to {'FULL' if connection.vendor == 'sqlite' else 'on'}.",
                            id="plant.W002",
                        )
                    )
    return found


def _waits_for_migration(connection: BaseDatabaseWrapper) -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


@register(Tags.database)
def guarded_ledgers(
    app_configs: Sequence[AppConfig] | None, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Find ledgers whose guard was lost (SQLite drops triggers when Django rebuilds a table)."""
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        if _waits_for_migration(connection):
            # The very step that sets a guard would be refused for its lack.
            continue
        with connection.cursor() as cursor:
            present = set(connection.introspection.table_names(cursor))
            if connection.vendor == "sqlite":
                cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            else:
                cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
            guards = {row[0] for row in cursor.fetchall()}
        for label in LEDGERS:
            table = apps.get_model(label)._meta.db_table
            verbs = ("update", "delete", "replace" if connection.vendor == "sqlite" else "truncate")
            if table in present and not {f"{table}_no_{verb}" for verb in verbs} <= guards:
                found.append(
                    Error(
                        f"The ledger {table} can be rewritten: its guard is missing.",
                        hint=f"Add AppendOnly(table={table!r}) to the last migration that touched the table.",
                        id="plant.E010",
                    )
                )
    return found
