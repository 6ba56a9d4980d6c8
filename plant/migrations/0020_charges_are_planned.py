from datetime import timedelta
from typing import Any

from django.db import migrations, models
from django.db.models import Q

from plant.fields import MoneyField
from plant.migration_ops import LiftNoOverlap, NoOverlap

SPAN = {"table": "plant_charge", "owner": "kiln_id", "begin": "begin_at", "end": "end_at", "name": "charge_no_overlap"}
ASIDE = timedelta(days=365 * 300)


def set_aside(apps: Any, schema_editor: Any) -> None:
    """Give charges that were taken out a number and a time of their own, so that they are in nobody's way."""
    charges = apps.get_model("plant", "Charge")._base_manager.using(schema_editor.connection.alias)
    free_at = None
    for charge in charges.filter(taken_out_at__isnull=False).order_by("begin_at"):
        length = charge.end_at - charge.begin_at
        free_at = free_at or charge.begin_at + ASIDE
        charge.number, charge.begin_at, charge.end_at = f"out-{charge.pk}", free_at, free_at + length
        charge.save(update_fields=["number", "begin_at", "end_at"])
        free_at = charge.end_at


class Migration(migrations.Migration):
    dependencies = [("plant", "0019_faults_of_files_say_sentences")]

    operations = [
        LiftNoOverlap(**SPAN),
        migrations.AddField("charge", "promised_at", models.DateTimeField("promised for", blank=True, null=True)),
        migrations.AddField(
            "charge", "late_cost_per_h", MoneyField("cost of each hour after that", blank=True, null=True)
        ),
        migrations.AddField(
            "charge",
            "taken_out_at",
            models.DateTimeField("taken out of the programme", editable=False, null=True),
        ),
        migrations.AddField("charge", "key", models.UUIDField(editable=False, null=True, unique=True)),
        migrations.RemoveConstraint("charge", "charge_number_once_per_kiln"),
        migrations.RunPython(migrations.RunPython.noop, set_aside),
        migrations.AddConstraint(
            "charge",
            models.UniqueConstraint(
                fields=["kiln", "number"],
                condition=Q(taken_out_at__isnull=True),
                name="charge_number_once_in_programme",
            ),
        ),
        migrations.AddConstraint(
            "charge",
            models.CheckConstraint(condition=Q(late_cost_per_h__gte=0), name="charge_late_cost_not_negative"),
        ),
        NoOverlap(**SPAN, while_null="taken_out_at"),
        migrations.AddField(
            "mill", "yard_hours", models.JSONField("hours in which the yard loads", blank=True, default=list)
        ),
    ]
