from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("plant", "0015_changes_say_sentences")]

    operations = [
        migrations.AddField("job", "failed_why", SentencesField(blank=True, default=tuple)),
        *texts_to_sentences("plant", "job", progress_note=SentencesField(blank=True, default=tuple)),
    ]
