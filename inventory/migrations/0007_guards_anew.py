"""Ledgers refuse to be emptied and replaced too: their guards are set anew."""

from django.db import migrations

from plant.migration_ops import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("inventory", "0006_parts_since")]

    operations = [AppendOnly(table=f"inventory_{name}") for name in ("stockmove",)]
