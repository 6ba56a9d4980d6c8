"""A fresh database gets the tables of all migrations up to 0007 at once; one that has some goes the long way.

tests/plant/test_migrations.py holds both ways to the same tables, indexes, constraints and guards.
"""

from django.db import migrations

from inventory.migrations.tables import orders, parts, stock
from plant.migration_ops import AppendOnly, CreateTables

LEDGERS = ("stockmove",)


class Migration(migrations.Migration):

    initial = True

    replaces = [
        ("inventory", "0001_initial"),
        ("inventory", "0002_relations"),
        ("inventory", "0003_guards"),
        ("inventory", "0004_catalogue_sources"),
        ("inventory", "0005_words_of_the_trade"),
        ("inventory", "0006_parts_since"),
        ("inventory", "0007_guards_anew"),
    ]

    dependencies = [("plant", "0014_pages_that_are_known")]

    operations = [
        CreateTables(
            tables=[
                *orders.TABLES,
                *parts.TABLES,
                *stock.TABLES,
            ]
        ),
        *(AppendOnly(table=f"inventory_{name}") for name in LEDGERS),
    ]
