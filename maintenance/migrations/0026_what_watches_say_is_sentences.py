from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0025_why_work_recurs_is_sentences")]

    operations = [
        *texts_to_sentences(
            "maintenance", "firing", sentence=SentencesField("what it says", blank=True, default=tuple)
        ),
    ]
