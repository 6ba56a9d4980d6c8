from django.db import migrations, models

from plant.fields import SentencesField


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0027_why_work_has_its_place_is_sentences")]

    # Neither lays the table anew: the ledger keeps its guard.
    operations = [
        migrations.AddField("entryalarm", "told", SentencesField(blank=True, default=None, null=True)),
        migrations.AlterField("entryalarm", "said", models.TextField("what was said", blank=True)),
    ]
