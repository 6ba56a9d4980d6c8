import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from plant.migration_ops import AppendOnly

WHAT = [
    ("started", "loaded and started"),
    ("opened", "opened"),
    ("unloaded", "unloaded"),
    ("expected", "expected at another time"),
    ("taken_back", "taken back"),
]


class Migration(migrations.Migration):
    dependencies = [("plant", "0017_charge_figures_say_sentences")]

    operations = [
        migrations.CreateModel(
            name="ChargeWord",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.UUIDField(unique=True)),
                ("what", models.CharField(choices=WHAT, max_length=10)),
                ("at", models.DateTimeField(verbose_name="when")),
                ("told_at", models.DateTimeField()),
                ("why", models.CharField(blank=True, max_length=300, verbose_name="why")),
                ("before", models.JSONField()),
                ("after", models.JSONField()),
                ("moved", models.JSONField(default=list)),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "charge",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="words", to="plant.charge"
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="plant.chargeword",
                    ),
                ),
            ],
            options={"ordering": ["id"]},
        ),
        AppendOnly(table="plant_chargeword"),
    ]
