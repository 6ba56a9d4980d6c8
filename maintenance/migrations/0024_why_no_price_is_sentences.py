from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0023_pins_that_do_not_hold")]

    operations = [
        *texts_to_sentences(
            "maintenance",
            "workorder",
            cost_unknown_why=SentencesField(blank=True, default=tuple, verbose_name="why waiting has no price"),
        ),
    ]
