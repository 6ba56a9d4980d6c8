"""The entry limit is kept to the thousandth of a degree, so that a mill may set it in whole °F."""

from decimal import Decimal
from typing import Any

from django.db import migrations
from django.utils.translation import gettext_lazy as _

import plant.fields


def copy_limit(apps: Any, schema_editor: Any) -> None:
    for mill in apps.get_model("plant", "Mill").objects.all():
        mill.entry_limit = Decimal(mill.entry_limit_c)
        mill.save(update_fields=["entry_limit"])


def copy_back(apps: Any, schema_editor: Any) -> None:
    for mill in apps.get_model("plant", "Mill").objects.all():
        # Whole degrees, downwards: a limit never grows by rounding.
        mill.entry_limit_c = int(mill.entry_limit)
        mill.save(update_fields=["entry_limit_c"])


def limit() -> plant.fields.QuantityField:
    return plant.fields.QuantityField(
        _("entry limit in °C"),
        decimal_places=3,
        default=35,
        help_text=_("Nobody enters a chamber that is warmer. The mill's own limit."),
    )


class Migration(migrations.Migration):
    dependencies = [("plant", "0004_catalogue_sources")]

    operations = [
        migrations.AddField("mill", "entry_limit", limit()),
        migrations.RunPython(copy_limit, copy_back),
        migrations.RemoveField("mill", "entry_limit_c"),
        migrations.RenameField("mill", "entry_limit", "entry_limit_c"),
    ]
