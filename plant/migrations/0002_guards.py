"""Ledgers refuse to be rewritten; charges of one kiln never overlap."""

from django.db import migrations

from plant.migration_ops import AppendOnly, NoOverlap


class Migration(migrations.Migration):
    dependencies = [("plant", "0001_initial")]

    operations = [
        AppendOnly(table="plant_change"),
        NoOverlap(table="plant_charge", owner="kiln_id", begin="begin_at", end="end_at", name="charge_no_overlap"),
    ]
