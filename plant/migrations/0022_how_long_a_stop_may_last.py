from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("plant", "0021_charges_end_as_told")]

    operations = [
        migrations.AddField("downtime", "expected_end_at", models.DateTimeField("may last until", blank=True, null=True)),
        migrations.AddField(
            "downtime",
            "charge_end_unknown_at",
            models.DateTimeField("since when nobody knows the end of its charge", editable=False, null=True),
        ),
        migrations.AddField("downtime", "key", models.UUIDField(editable=False, null=True, unique=True)),
    ]
