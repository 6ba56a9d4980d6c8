from typing import Any

from django.db import migrations, models


def go_by_the_programme(apps: Any, schema_editor: Any) -> None:
    """Leave openings and plans of a mill that has charges and never told one as they were; entry asks for the word."""
    charge, word = apps.get_model("plant", "Charge"), apps.get_model("plant", "ChargeWord")
    if charge.objects.exists() and not word.objects.exists():
        apps.get_model("plant", "Mill").objects.update(charges_end_by_programme=True)


class Migration(migrations.Migration):
    dependencies = [("plant", "0020_charges_are_planned")]

    operations = [
        migrations.AddField(
            "mill",
            "charges_end_by_programme",
            models.BooleanField(
                default=False,
                help_text="For a mill that tells no charges: openings and plans take a charge to be opened and out "
                "when the programme says so. Nobody goes into a kiln by the programme: there it must be told in any "
                "case.",
                verbose_name="charges end as the programme says",
            ),
        ),
        migrations.RunPython(go_by_the_programme, migrations.RunPython.noop),
    ]
