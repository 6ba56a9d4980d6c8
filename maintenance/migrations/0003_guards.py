"""What was found, tested, done and permitted is never rewritten."""

from django.db import migrations

from plant.migration_ops import AppendOnly

LEDGERS = ("finding", "prooftest", "steprecord", "labour", "entrypermit")


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0002_relations")]

    operations = [AppendOnly(table=f"maintenance_{name}") for name in LEDGERS]
