"""The stock ledger refuses to be rewritten."""

from django.db import migrations

from plant.migration_ops import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("inventory", "0002_relations")]

    operations = [AppendOnly(table="inventory_stockmove")]
