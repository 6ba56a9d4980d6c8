"""Task sheets and check points may be the mill's own and have versions; dates of recurring tasks may be changed."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

from plant.migration_ops import AppendOnly


def free_withdrawn(apps, schema_editor):
    """Before this, a withdrawn job held its date for good: of two for one date only the live one keeps it."""
    work = apps.get_model("maintenance", "WorkOrder").objects
    live = set(
        work.filter(standing_task__isnull=False)
        .exclude(state="withdrawn")
        .values_list("standing_task", "occurrence_on")
    )
    withdrawn = work.filter(standing_task__isnull=False, state="withdrawn").order_by("pk")
    for pk, task, on in list(withdrawn.values_list("pk", "standing_task", "occurrence_on")):
        if (task, on) in live:
            work.filter(pk=pk).update(standing_task=None, occurrence_on=None)
        live.add((task, on))


class Migration(migrations.Migration):

    dependencies = [
        ('maintenance', '0029_files_by_page'),
        ('plant', '0022_how_long_a_stop_may_last'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ChangedDate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('due_on', models.DateField(verbose_name='date')),
                ('moved_to_on', models.DateField(blank=True, null=True, verbose_name='moved to')),
                ('why', models.CharField(max_length=200, verbose_name='why')),
                ('at', models.DateTimeField()),
                ('passed_running_h', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
                ('passed_charges', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
                ('after_done_on', models.DateField(blank=True, null=True)),
                ('taken_back_at', models.DateTimeField(blank=True, null=True, verbose_name='taken back')),
            ],
            options={
                'ordering': ['standing_task', 'due_on', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='PointVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('no', models.PositiveIntegerField(verbose_name='version')),
                ('content', models.JSONField()),
                ('superseded_at', models.DateTimeField(verbose_name='until')),
                ('why', models.CharField(blank=True, max_length=200, verbose_name='why it was changed')),
            ],
            options={
                'ordering': ['of', '-no'],
            },
        ),
        migrations.CreateModel(
            name='SheetVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('no', models.PositiveIntegerField(verbose_name='version')),
                ('content', models.JSONField()),
                ('superseded_at', models.DateTimeField(verbose_name='until')),
                ('why', models.CharField(blank=True, max_length=200, verbose_name='why it was changed')),
            ],
            options={
                'ordering': ['of', '-no'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='workorder',
            name='work_order_once_per_occurrence',
        ),
        migrations.RunPython(migrations.RunPython.noop, free_withdrawn),
        migrations.AddField(
            model_name='checkitem',
            name='point_version',
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='copied_from',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='copies', to='maintenance.checkpoint', verbose_name='copied from'),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='copied_version',
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='is_own',
            field=models.BooleanField(default=False, verbose_name="the mill's own"),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='version',
            field=models.PositiveIntegerField(default=1, verbose_name='version'),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='withdrawn_at',
            field=models.DateTimeField(blank=True, null=True, verbose_name='withdrawn'),
        ),
        migrations.AddField(
            model_name='checkpoint',
            name='withdrawn_why',
            field=models.CharField(blank=True, max_length=200, verbose_name='why withdrawn'),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='copied_from',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='copies', to='maintenance.tasksheet', verbose_name='copied from'),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='copied_version',
            field=models.PositiveIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='is_own',
            field=models.BooleanField(default=False, verbose_name="the mill's own"),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='version',
            field=models.PositiveIntegerField(default=1, verbose_name='version'),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='withdrawn_at',
            field=models.DateTimeField(blank=True, null=True, verbose_name='withdrawn'),
        ),
        migrations.AddField(
            model_name='tasksheet',
            name='withdrawn_why',
            field=models.CharField(blank=True, max_length=200, verbose_name='why withdrawn'),
        ),
        migrations.AddField(
            model_name='workorder',
            name='sheet_version',
            field=models.PositiveIntegerField(blank=True, null=True, verbose_name='version of the task sheet'),
        ),
        migrations.AddConstraint(
            model_name='workorder',
            constraint=models.UniqueConstraint(condition=models.Q(('standing_task__isnull', False), models.Q(('state', 'withdrawn'), _negated=True)), fields=('standing_task', 'occurrence_on'), name='work_order_once_per_occurrence'),
        ),
        migrations.AddField(
            model_name='changeddate',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='changeddate',
            name='standing_task',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='changed_dates', to='maintenance.standingtask'),
        ),
        migrations.AddField(
            model_name='changeddate',
            name='taken_back_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='changeddate',
            name='work_order',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='maintenance.workorder'),
        ),
        migrations.AddField(
            model_name='pointversion',
            name='of',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='earlier', to='maintenance.checkpoint'),
        ),
        migrations.AddField(
            model_name='pointversion',
            name='superseded_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='sheetversion',
            name='of',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='earlier', to='maintenance.tasksheet'),
        ),
        migrations.AddField(
            model_name='sheetversion',
            name='superseded_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddConstraint(
            model_name='changeddate',
            constraint=models.UniqueConstraint(condition=models.Q(('taken_back_at__isnull', True)), fields=('standing_task', 'due_on'), name='changed_date_once'),
        ),
        migrations.AddConstraint(
            model_name='changeddate',
            constraint=models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='changed_date_says_why'),
        ),
        migrations.AddConstraint(
            model_name='pointversion',
            constraint=models.UniqueConstraint(fields=('of', 'no'), name='point_version_once'),
        ),
        migrations.AddConstraint(
            model_name='sheetversion',
            constraint=models.UniqueConstraint(fields=('of', 'no'), name='sheet_version_once'),
        ),
        AppendOnly('maintenance_pointversion'),
        AppendOnly('maintenance_sheetversion'),
    ]
