"""A wrong booking is taken back by an entry that names it; the ledger's guard is set anew after its table changed."""

import django.db.models.deletion
from django.db import migrations, models

from plant.migration_ops import AppendOnly

KINDS = [
    ("receipt", "receipt"),
    ("issue", "issue"),
    ("return", "return"),
    ("count", "count"),
    ("scrap", "scrap"),
    ("transfer", "transfer"),
    ("undone", "taken back"),
]


class Migration(migrations.Migration):
    dependencies = [("inventory", "0008_reasons_are_sentences")]

    operations = [
        migrations.AlterField(
            model_name="stockmove", name="kind", field=models.CharField(choices=KINDS, max_length=8)
        ),
        migrations.AddField(
            model_name="stockmove",
            name="takes_back",
            field=models.OneToOneField(
                blank=True,
                help_text="The wrong booking that this one takes back.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="taken_back_by",
                to="inventory.stockmove",
            ),
        ),
        AppendOnly(table="inventory_stockmove"),
    ]
