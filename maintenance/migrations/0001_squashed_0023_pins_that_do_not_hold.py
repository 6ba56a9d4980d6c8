"""A fresh database gets the tables of all migrations up to 0023 at once; one that has some goes the long way.

tests/plant/test_migrations.py holds both ways to the same tables, indexes, constraints and guards.
"""

from django.db import migrations

from maintenance.migrations.tables import alarms, bars, catalogue, checks, entry, plans, pricing, standing, telling, watches, work
from plant.migration_ops import AppendOnly, CreateTables

LEDGERS = ("finding", "prooftest", "steprecord", "labour", "entrypermit", "priceofwaiting", "chambertest", "letin", "takenback", "entrymove", "entryalarm")


class Migration(migrations.Migration):

    initial = True

    replaces = [
        ("maintenance", "0001_initial"),
        ("maintenance", "0002_relations"),
        ("maintenance", "0003_guards"),
        ("maintenance", "0004_standing_last_due"),
        ("maintenance", "0005_left_out_of_the_plan"),
        ("maintenance", "0006_standing_windows_and_withdrawn"),
        ("maintenance", "0007_price_of_waiting"),
        ("maintenance", "0008_watches"),
        ("maintenance", "0009_plans"),
        ("maintenance", "0010_out_to_people"),
        ("maintenance", "0011_sittings_and_lock_outs"),
        ("maintenance", "0012_words_of_the_trade"),
        ("maintenance", "0013_let_in"),
        ("maintenance", "0014_plan_ended_early"),
        ("maintenance", "0015_findings_taken_back_and_decided"),
        ("maintenance", "0016_who_is_inside"),
        ("maintenance", "0017_how_sure_prices_are"),
        ("maintenance", "0018_guards_anew"),
        ("maintenance", "0019_place_look"),
        ("maintenance", "0020_cautions_say_what_they_are_for"),
        ("maintenance", "0021_alarms_of_entry"),
        ("maintenance", "0022_job_covers_components"),
        ("maintenance", "0023_pins_that_do_not_hold"),
    ]

    dependencies = [("inventory", "0007_guards_anew"), ("plant", "0014_pages_that_are_known")]

    operations = [
        CreateTables(
            tables=[
                *alarms.TABLES,
                *bars.TABLES,
                *catalogue.TABLES,
                *checks.TABLES,
                *entry.TABLES,
                *plans.TABLES,
                *pricing.TABLES,
                *standing.TABLES,
                *telling.TABLES,
                *watches.TABLES,
                *work.TABLES,
            ]
        ),
        *(AppendOnly(table=f"maintenance_{name}") for name in LEDGERS),
    ]
