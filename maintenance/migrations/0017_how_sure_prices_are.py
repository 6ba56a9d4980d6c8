from decimal import Decimal
from typing import Any

from django.db import migrations, models

import plant.fields
from plant.migration_ops import AppendOnly, LiftAppendOnly

TABLE = "maintenance_priceofwaiting"


def split(apps: Any, schema_editor: Any) -> None:
    """Split what is kept: the heat of a bare pipe is physics; nobody kept what all else rested on, so it is assumed."""
    for price in apps.get_model("maintenance", "PriceOfWaiting").objects.all():
        heat, timber = Decimal(price.heat_cost_per_day), Decimal(price.timber_cost_per_day)
        is_physics = price.loss == "bare_pipe"
        price.physics_cost_per_day = heat if is_physics else 0
        price.assumption_cost_per_day = timber if is_physics else heat + timber
        if price.bound == "lower" and not is_physics:
            price.bound = "estimate"
        price.save()


def put_together(apps: Any, schema_editor: Any) -> None:
    """Give back heat and timber, each to the cent."""
    cent = Decimal("0.01")
    for price in apps.get_model("maintenance", "PriceOfWaiting").objects.all():
        parts = (price.physics_cost_per_day, price.experience_cost_per_day, price.assumption_cost_per_day)
        price.heat_cost_per_day = (Decimal(price.kwh_per_day) * Decimal(price.energy_price_per_kwh)).quantize(cent)
        price.timber_cost_per_day = sum(map(Decimal, parts)).quantize(cent) - price.heat_cost_per_day
        price.save()


class Migration(migrations.Migration):
    dependencies = [
        ("maintenance", "0016_who_is_inside"),
    ]

    operations = [
        migrations.AddField(
            model_name="plan",
            name="sureness",
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddField(
            model_name="workorder",
            name="cost_unknown_why",
            field=models.CharField(blank=True, default="", max_length=240, verbose_name="why waiting has no price"),
        ),
        LiftAppendOnly(table=TABLE),
        migrations.AddField(
            model_name="priceofwaiting",
            name="physics_cost_per_day",
            field=plant.fields.MoneyField(decimal_places=6, default=0, verbose_name="at least, by physics"),
        ),
        migrations.AddField(
            model_name="priceofwaiting",
            name="experience_cost_per_day",
            field=plant.fields.MoneyField(decimal_places=6, default=0, verbose_name="by the mill's own charges"),
        ),
        migrations.AddField(
            model_name="priceofwaiting",
            name="assumption_cost_per_day",
            field=plant.fields.MoneyField(decimal_places=6, default=0, verbose_name="assumed"),
        ),
        migrations.AddField(
            model_name="priceofwaiting",
            name="experience_charges",
            field=models.PositiveIntegerField(default=0, verbose_name="charges that tell"),
        ),
        migrations.AddField(
            model_name="priceofwaiting",
            name="is_measured",
            field=models.BooleanField(default=False, verbose_name="measured"),
        ),
        # So that what is taken away can be given back.
        migrations.AlterField("priceofwaiting", "heat_cost_per_day", plant.fields.MoneyField("heat a day", default=0)),
        migrations.AlterField("priceofwaiting", "timber_cost_per_day", plant.fields.MoneyField("timber a day", default=0)),
        migrations.RunPython(split, put_together),
        migrations.RemoveField(model_name="priceofwaiting", name="heat_cost_per_day"),
        migrations.RemoveField(model_name="priceofwaiting", name="timber_cost_per_day"),
        AppendOnly(table=TABLE),
    ]
