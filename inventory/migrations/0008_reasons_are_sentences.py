from django.db import migrations

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("inventory", "0007_guards_anew")]

    operations = [
        *texts_to_sentences("inventory", "reorderadvice", reason=SentencesField(blank=True, default=tuple)),
        *texts_to_sentences(
            "inventory",
            "purchaseorderline",
            reason=SentencesField(blank=True, default=tuple, verbose_name="why"),
        ),
    ]
