"""Ledgers refuse to be emptied and replaced too: their guards are set anew."""

from django.db import migrations

from plant.migration_ops import AppendOnly


class Migration(migrations.Migration):
    dependencies = [("plant", "0012_words_that_outlast_the_sign_in")]

    operations = [AppendOnly(table=f"plant_{name}") for name in ("change",)]
