"""Database rules that Django's models cannot express, as migration operations for both databases.

A trigger of SQLite is lost when Django rebuilds its table (any change of a column or constraint): add the operation
again in the migration that changes such a table. The system check ``plant.E010`` finds a table that lost its guard.
"""

import json
from typing import Any

from django.db import models
from django.db.migrations import AlterField, RunPython
from django.db.migrations.operations.base import Operation
from django.db.migrations.operations.models import CreateModel

from plant.basics.sentences import all_to_json, typed
from plant.fields import SentencesField

LEDGER_REFUSAL = "this ledger keeps what happened: add a correcting entry instead"


class _VendorSQL(Operation):
    """Run other statements on SQLite than on PostgreSQL."""

    reversible = True

    def forwards(self, vendor: str) -> list[str]:
        raise NotImplementedError

    def backwards(self, vendor: str) -> list[str]:
        raise NotImplementedError

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The models' state is not touched."""

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Create the rule."""
        for statement in self.forwards(schema_editor.connection.vendor):
            schema_editor.execute(statement, params=None)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Drop the rule."""
        for statement in self.backwards(schema_editor.connection.vendor):
            schema_editor.execute(statement, params=None)


class AppendOnly(_VendorSQL):
    """Refuse UPDATE, DELETE and what amounts to them on a ledger's table; it may be said of a table again.

    PostgreSQL empties a table by TRUNCATE, past the triggers of rows; SQLite's INSERT OR REPLACE deletes the row that
    is in the way without asking the trigger of DELETE.
    """

    def __init__(self, table: str) -> None:
        self.table = table

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """Name the operation for Django."""
        return (type(self).__name__, [], {"table": self.table})

    def describe(self) -> str:
        """Say what it does."""
        return f"Make {self.table} append-only"

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Create the rule, on SQLite with what makes a row of this table the same as another."""
        connection = schema_editor.connection
        super().database_forwards(app_label, schema_editor, from_state, to_state)
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                constraints = connection.introspection.get_constraints(cursor, self.table)
            for statement in self._no_replacing([c["columns"] for c in constraints.values() if c["unique"]]):
                schema_editor.execute(statement, params=None)

    def _no_replacing(self, unique: list[list[str]]) -> list[str]:
        keys = sorted({("id",), *(tuple(columns) for columns in unique if columns)})
        same = " OR ".join(
            "(" + " AND ".join(f"o.{column} = NEW.{column}" for column in columns) + ")" for columns in keys
        )
        there = f"SELECT 1 FROM {self.table} o WHERE {same}"  # noqa: S608  names of our own columns
        name = f"{self.table}_no_replace"
        return [
            f"DROP TRIGGER IF EXISTS {name}",
            f"CREATE TRIGGER {name} BEFORE INSERT ON {self.table} WHEN EXISTS ({there}) "
            f"BEGIN SELECT RAISE(ABORT, '{LEDGER_REFUSAL}'); END",
        ]

    def forwards(self, vendor: str) -> list[str]:
        """Return the creating statements."""
        if vendor == "sqlite":
            return [
                statement
                for verb in ("UPDATE", "DELETE")
                for statement in (
                    f"DROP TRIGGER IF EXISTS {self.table}_no_{verb.lower()}",
                    f"CREATE TRIGGER {self.table}_no_{verb.lower()} BEFORE {verb} ON {self.table} "
                    f"BEGIN SELECT RAISE(ABORT, '{LEDGER_REFUSAL}'); END",
                )
            ]
        return [
            f"CREATE OR REPLACE FUNCTION {self.table}_keep() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{LEDGER_REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
            *(
                f"CREATE OR REPLACE TRIGGER {self.table}_no_{verb.lower()} BEFORE {verb} ON {self.table} "
                f"FOR EACH {'STATEMENT' if verb == 'TRUNCATE' else 'ROW'} EXECUTE FUNCTION {self.table}_keep()"
                for verb in ("UPDATE", "DELETE", "TRUNCATE")
            ),
        ]

    def backwards(self, vendor: str) -> list[str]:
        """Return the dropping statements."""
        if vendor == "sqlite":
            return [f"DROP TRIGGER IF EXISTS {self.table}_no_{verb}" for verb in ("update", "delete", "replace")]
        return [f"DROP FUNCTION IF EXISTS {self.table}_keep() CASCADE"]


class LiftAppendOnly(AppendOnly):
    """Let a migration split what a ledger keeps: AppendOnly must follow in the same migration."""

    def describe(self) -> str:
        """Say what it does."""
        return f"Lift the guard of {self.table}"

    def forwards(self, vendor: str) -> list[str]:
        """Return the dropping statements."""
        return super().backwards(vendor)

    def backwards(self, vendor: str) -> list[str]:
        """Return the creating statements."""
        return super().forwards(vendor)


class NoOverlap(_VendorSQL):
    """Forbid overlapping half-open spans of one owner: an exclusion constraint, or triggers where there is none.

    Rows count as long as the column ``while_null`` is empty, where one is named.
    """

    def __init__(self, table: str, owner: str, begin: str, end: str, name: str, while_null: str = "") -> None:
        self.table, self.owner, self.begin, self.end, self.name = table, owner, begin, end, name
        self.while_null = while_null

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """Name the operation for Django."""
        fields = {"table": self.table, "owner": self.owner, "begin": self.begin, "end": self.end, "name": self.name}
        return (type(self).__name__, [], {**fields, "while_null": self.while_null})

    def describe(self) -> str:
        """Say what it does."""
        return f"Forbid overlapping spans in {self.table}"

    def forwards(self, vendor: str) -> list[str]:
        """Return the creating statements."""
        if vendor == "sqlite":
            counts = f"AND NEW.{self.while_null} IS NULL AND o.{self.while_null} IS NULL " if self.while_null else ""
            clash = (
                f"EXISTS (SELECT 1 FROM {self.table} o WHERE o.{self.owner} = NEW.{self.owner} AND o.id != NEW.id "  # noqa: S608
                f"{counts}AND o.{self.begin} < NEW.{self.end} AND NEW.{self.begin} < o.{self.end})"
            )
            # After the row is in: before it, NEW.id is not known yet.
            return [
                f"CREATE TRIGGER {self.name}_{verb.lower()} AFTER {verb} ON {self.table} WHEN {clash} "
                f"BEGIN SELECT RAISE(ABORT, '{self.name}'); END"
                for verb in ("INSERT", "UPDATE")
            ]
        # int8range stands in for equality, so that the extension btree_gist is not needed.
        counts = f" WHERE ({self.while_null} IS NULL)" if self.while_null else ""
        return [
            f"ALTER TABLE {self.table} ADD CONSTRAINT {self.name} EXCLUDE USING gist ("
            f"int8range({self.owner}, {self.owner}, '[]') WITH &&, tstzrange({self.begin}, {self.end}, '[)') WITH &&)"
            f"{counts}"
        ]

    def backwards(self, vendor: str) -> list[str]:
        """Return the dropping statements."""
        if vendor == "sqlite":
            return [f"DROP TRIGGER IF EXISTS {self.name}_{verb}" for verb in ("insert", "update")]
        return [f"ALTER TABLE {self.table} DROP CONSTRAINT IF EXISTS {self.name}"]


class LiftNoOverlap(NoOverlap):
    """Let a migration say in another way which spans may not overlap: NoOverlap must follow in the same migration."""

    def describe(self) -> str:
        """Say what it does."""
        return f"Let spans in {self.table} overlap"

    def forwards(self, vendor: str) -> list[str]:
        """Return the dropping statements."""
        return super().backwards(vendor)

    def backwards(self, vendor: str) -> list[str]:
        """Return the creating statements."""
        return super().forwards(vendor)


def texts_to_sentences(app_label: str, model_name: str, **fields: SentencesField) -> list[Operation]:
    """Return the operations that turn columns of text into sentences; what stands in them is kept as if typed.

    Not for a ledger, whose rows are never written anew: it gets a further column. Backwards the JSON remains as text.
    """

    def keep(apps: Any, schema_editor: Any) -> None:
        rows = apps.get_model(app_label, model_name)._base_manager.using(schema_editor.connection.alias)
        changed = []
        for row in rows.only("pk", *fields).iterator():
            for name in fields:
                setattr(row, name, json.dumps(all_to_json(typed(getattr(row, name)))))
            changed.append(row)
        rows.bulk_update(changed, [*fields], batch_size=500)

    return [
        *(AlterField(model_name, name, models.TextField(blank=True)) for name in fields),
        RunPython(keep, RunPython.noop),
        *(AlterField(model_name, name, field) for name, field in fields.items()),
    ]


class CreateTables(Operation):
    """Create all tables of a storey at once.

    Django lays the models anew after each single step, which is nearly all of the time that a fresh database takes.
    """

    reversible = True
    serialization_expand_args = ["tables"]

    def __init__(self, tables: list[CreateModel]) -> None:
        self.tables = tables

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """Name the operation for Django."""
        return (type(self).__name__, [], {"tables": self.tables})

    def describe(self) -> str:
        """Say what it does."""
        return f"Create {len(self.tables)} tables"

    def state_forwards(self, app_label: str, state: Any) -> None:
        """Add the models; they are laid once, when they are asked for next."""
        state.__dict__.pop("apps", None)
        for table in self.tables:
            table.state_forwards(app_label, state)

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Create the tables; each may point to a later one."""
        for table in self.tables:
            table.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        """Drop the tables."""
        for table in reversed(self.tables):
            table.database_backwards(app_label, schema_editor, from_state, to_state)
