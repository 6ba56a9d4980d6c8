from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0026_what_watches_say_is_sentences")]

    operations = [
        *texts_to_sentences(
            "maintenance",
            "workorder",
            why=SentencesField("why", blank=True, default=tuple),
            no_place_why=SentencesField("why it has no place", blank=True, default=tuple),
            pin_lost_why=SentencesField("why it was not kept at its place", blank=True, default=tuple),
        ),
        *texts_to_sentences("maintenance", "placement", why=SentencesField("why here", blank=True, default=tuple)),
    ]
