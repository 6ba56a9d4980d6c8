"""A fresh database gets the tables of all migrations up to 0014 at once; one that has some goes the long way.

tests/plant/test_migrations.py holds both ways to the same tables, indexes, constraints and guards.
"""

from django.db import migrations

from plant.migration_ops import AppendOnly, CreateTables, NoOverlap
from plant.migrations.tables import background, charges, kept_forms, kilns, ledger, mill, people, readings

LEDGERS = ("change",)


class Migration(migrations.Migration):

    initial = True

    replaces = [
        ("plant", "0001_initial"),
        ("plant", "0002_guards"),
        ("plant", "0003_background"),
        ("plant", "0004_catalogue_sources"),
        ("plant", "0005_entry_limit_in_thousandths"),
        ("plant", "0006_user_has_first_password"),
        ("plant", "0007_energy_price"),
        ("plant", "0008_readings"),
        ("plant", "0009_words_of_the_trade"),
        ("plant", "0010_downtime_from_outside"),
        ("plant", "0011_height_above_the_sea"),
        ("plant", "0012_words_that_outlast_the_sign_in"),
        ("plant", "0013_guards_anew"),
        ("plant", "0014_pages_that_are_known"),
    ]

    dependencies = [("auth", "0012_alter_user_first_name_max_length")]

    operations = [
        CreateTables(
            tables=[
                *background.TABLES,
                *charges.TABLES,
                *kept_forms.TABLES,
                *kilns.TABLES,
                *ledger.TABLES,
                *mill.TABLES,
                *people.TABLES,
                *readings.TABLES,
            ]
        ),
        *(AppendOnly(table=f"plant_{name}") for name in LEDGERS),
        NoOverlap(table="plant_charge", owner="kiln_id", begin="begin_at", end="end_at", name="charge_no_overlap"),
    ]
