from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0024_why_no_price_is_sentences")]

    operations = [
        *texts_to_sentences("maintenance", "standingtask", next_due_why=SentencesField(blank=True, default=tuple)),
    ]
