from django.db import migrations, models

from plant.fields import SentencesField
from plant.migration_ops import texts_to_sentences


class Migration(migrations.Migration):
    dependencies = [("plant", "0016_jobs_say_sentences")]

    operations = [
        migrations.RemoveConstraint("chargefigure", "charge_figure_or_why_not"),
        *texts_to_sentences(
            "plant",
            "chargefigure",
            why_not=SentencesField(blank=True, default=tuple, verbose_name="why there is none"),
        ),
        migrations.AddConstraint(
            "chargefigure",
            models.CheckConstraint(
                condition=models.Q(value__isnull=False) | ~models.Q(why_not=[]), name="charge_figure_or_why_not"
            ),
        ),
    ]
