from typing import Any

from django.db import migrations

from plant.basics.sentences import all_to_json, typed
from plant.fields import SentencesField


def keep(apps: Any, schema_editor: Any) -> None:
    """Keep each text as if somebody had typed it."""
    rows = apps.get_model("plant", "FileIntake")._base_manager.using(schema_editor.connection.alias)
    changed = []
    for row in rows.exclude(faults=[]).only("pk", "faults").iterator():
        row.faults = [one for text in row.faults for one in all_to_json(typed(text))]
        changed.append(row)
    rows.bulk_update(changed, ["faults"], batch_size=500)


class Migration(migrations.Migration):
    dependencies = [("plant", "0018_what_was_told_of_charges")]

    operations = [
        # Backwards what is said stays as it is kept.
        migrations.RunPython(keep, migrations.RunPython.noop),
        migrations.AlterField("fileintake", "faults", SentencesField(blank=True, default=tuple)),
    ]
