"""A job can be left out of the plan by hand, with the reason, and up to a day."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("maintenance", "0004_standing_last_due"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name="workorder",
            name="left_out_at",
            field=models.DateTimeField(blank=True, null=True, verbose_name="left out of the plan"),
        ),
        migrations.AddField(
            model_name="workorder",
            name="left_out_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="workorder",
            name="left_out_why",
            field=models.CharField(blank=True, max_length=200, verbose_name="why it is left out"),
        ),
        migrations.AddField(
            model_name="workorder",
            name="not_before_on",
            field=models.DateField(blank=True, null=True, verbose_name="not wanted before"),
        ),
        migrations.AddConstraint(
            model_name="workorder",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("left_out_at__isnull", True), ("not_before_on__isnull", True)),
                    models.Q(("left_out_why", ""), _negated=True),
                    _connector="OR",
                ),
                name="work_order_left_out_says_why",
            ),
        ),
    ]
