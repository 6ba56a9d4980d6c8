from datetime import datetime

import plant.clock
from django.db import migrations, models
from django.db.models import Min


def begin_with_the_first_record(apps, schema_editor):
    """A part that was there before begins with what is first known of it, else with today."""
    first: dict[int, datetime] = {}
    for model, instant in (("StockMove", "at"), ("Reservation", "created_at")):
        rows = apps.get_model("inventory", model).objects.order_by().values_list("part")
        for part_id, at in rows.annotate(Min(instant)):
            first[part_id] = min(first.get(part_id, at), at)
    changes = apps.get_model("plant", "Change").objects.filter(subject_kind="inventory.part").order_by()
    for key, at in changes.values_list("subject_key").annotate(Min("at")):
        first[int(key)] = min(first.get(int(key), at), at)
    Part = apps.get_model("inventory", "Part")
    for part_id, at in first.items():
        Part.objects.filter(pk=part_id, since_at__gt=at).update(since_at=at)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0005_words_of_the_trade'),
    ]

    operations = [
        migrations.AddField(
            model_name='part',
            name='since_at',
            field=models.DateTimeField(default=plant.clock.now, editable=False, help_text='Put on record; what was used of it before nobody can tell.'),
        ),
        migrations.RunPython(begin_with_the_first_record, migrations.RunPython.noop),
    ]
