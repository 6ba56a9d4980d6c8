"""Windows in running hours and charges; what was withdrawn counts as dealt with; when a task was entered."""

import maintenance.models.standing
import plant.fields
from django.db import migrations, models
from django.db.models import Min


def enter_known_tasks(apps, schema_editor):
    """A task that is known already was entered when its first work order was raised, or now."""
    tasks = apps.get_model("maintenance", "StandingTask")
    for task in tasks.objects.annotate(first_at=Min("work_orders__raised_at")).filter(first_at__isnull=False):
        tasks.objects.filter(pk=task.pk).update(entered_on=min(task.first_at.date(), task.entered_on))


class Migration(migrations.Migration):

    dependencies = [
        ('maintenance', '0005_left_out_of_the_plan'),
    ]

    operations = [
        migrations.AddField(
            model_name='standingtask',
            name='entered_on',
            field=models.DateField(default=maintenance.models.standing.day_of_entry, verbose_name='entered'),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='passed_over_charges',
            field=plant.fields.QuantityField(blank=True, decimal_places=3, null=True),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='passed_over_on',
            field=models.DateField(blank=True, null=True, verbose_name='withdrawn occurrence'),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='passed_over_running_h',
            field=plant.fields.QuantityField(blank=True, decimal_places=3, null=True),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='window_after_charges',
            field=models.PositiveIntegerField(blank=True, default=0, verbose_name='and … charges after'),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='window_after_running_h',
            field=models.PositiveIntegerField(blank=True, default=0, verbose_name='and … running hours after'),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='window_before_charges',
            field=models.PositiveIntegerField(blank=True, default=0, verbose_name='may be done … charges before'),
        ),
        migrations.AddField(
            model_name='standingtask',
            name='window_before_running_h',
            field=models.PositiveIntegerField(blank=True, default=0, verbose_name='may be done … running hours before'),
        ),
        migrations.RunPython(enter_known_tasks, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name='standingtask',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('window_after_running_h', 0), ('window_before_running_h', 0)), models.Q(('every_running_h__gt', models.F('window_before_running_h')), ('every_running_h__isnull', False)), _connector='OR'), name='standing_task_window_fits_running_h'),
        ),
        migrations.AddConstraint(
            model_name='standingtask',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('window_after_charges', 0), ('window_before_charges', 0)), models.Q(('every_charges__gt', models.F('window_before_charges')), ('every_charges__isnull', False)), _connector='OR'), name='standing_task_window_fits_charges'),
        ),
    ]
