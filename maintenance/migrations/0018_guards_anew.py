"""Ledgers refuse to be emptied and replaced too: their guards are set anew."""

from django.db import migrations

from plant.migration_ops import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0017_how_sure_prices_are")]

    operations = [AppendOnly(table=f"maintenance_{name}") for name in ("finding", "prooftest", "steprecord", "labour", "entrypermit", "priceofwaiting", "chambertest")]
