"""The tables of standing, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import maintenance.models.standing
import plant.fields
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='DayRun',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('day', models.DateField()),
            ('started_at', models.DateTimeField()),
            ('finished_at', models.DateTimeField(blank=True, null=True)),
            ('summary', models.JSONField(default=dict)),
        ],
        options={
            'ordering': ['-started_at'],
        },
    ),
    migrations.CreateModel(
        name='MissedOccurrence',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('due_on', models.DateField()),
            ('recorded_at', models.DateTimeField()),
            ('standing_task', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='missed', to='maintenance.standingtask')),
        ],
        options={
            'ordering': ['standing_task', 'due_on'],
            'constraints': [models.UniqueConstraint(fields=('standing_task', 'due_on'), name='missed_once')],
        },
    ),
    migrations.CreateModel(
        name='StandingTask',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=60, unique=True, verbose_name='code')),
            ('anchor_on', models.DateField(verbose_name='counted from')),
            ('every', models.PositiveIntegerField(blank=True, null=True, verbose_name='every')),
            ('every_unit', models.CharField(blank=True, choices=[('day', 'days'), ('week', 'weeks'), ('month', 'months')], max_length=6, verbose_name='unit')),
            ('rrule', models.CharField(blank=True, help_text='RFC 5545, for example FREQ=MONTHLY;BYDAY=1MO', max_length=200, verbose_name='calendar rule')),
            ('month_end', models.CharField(choices=[('last_day', 'on the last day of the month'), ('skip', 'not in that month'), ('next_first', 'on the first day of the month after')], default='last_day', max_length=12, verbose_name='where a month has no such day')),
            ('every_running_h', models.PositiveIntegerField(blank=True, null=True, verbose_name='every … running hours')),
            ('every_charges', models.PositiveIntegerField(blank=True, null=True, verbose_name='every … charges')),
            ('window_before_days', models.PositiveIntegerField(default=0, verbose_name='may be done … days before')),
            ('window_after_days', models.PositiveIntegerField(default=0, verbose_name='and … days after')),
            ('reset_early', models.CharField(choices=[('anchored', 'the series stays where it was'), ('completion', 'the series starts again from the day it was done')], default='completion', max_length=12, verbose_name='done too early')),
            ('reset_inside', models.CharField(choices=[('anchored', 'the series stays where it was'), ('completion', 'the series starts again from the day it was done')], default='anchored', max_length=12, verbose_name='done inside the window')),
            ('reset_late', models.CharField(choices=[('anchored', 'the series stays where it was'), ('completion', 'the series starts again from the day it was done')], default='completion', max_length=12, verbose_name='done too late')),
            ('is_safety', models.BooleanField(default=False, verbose_name='safety work')),
            ('is_interval_published', models.BooleanField(default=False, verbose_name='interval is published')),
            ('cost_of_delay_per_day', plant.fields.MoneyField(decimal_places=2, default=0, verbose_name='cost of delay per day')),
            ('last_done_on', models.DateField(blank=True, null=True, verbose_name='last done')),
            ('last_done_running_h', plant.fields.QuantityField(blank=True, decimal_places=3, null=True, verbose_name='running hours when last done')),
            ('last_done_charges', models.PositiveIntegerField(blank=True, null=True, verbose_name='charges when last done')),
            ('next_due_on', models.DateField(blank=True, null=True, verbose_name='next due')),
            ('next_due_why', models.CharField(blank=True, max_length=300)),
            ('is_active', models.BooleanField(default=True, verbose_name='recurs')),
            ('version', models.PositiveIntegerField(default=0)),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='standing_tasks', to='plant.component')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='standing_tasks', to='plant.kiln')),
            ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='standing_tasks', to='maintenance.tasksheet')),
            ('last_due_charges', models.PositiveIntegerField(blank=True, null=True)),
            ('last_due_on', models.DateField(blank=True, null=True)),
            ('last_due_running_h', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('entered_on', models.DateField(default=maintenance.models.standing.day_of_entry, verbose_name='entered')),
            ('passed_over_charges', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('passed_over_on', models.DateField(blank=True, null=True, verbose_name='withdrawn occurrence')),
            ('passed_over_running_h', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('window_after_charges', models.PositiveIntegerField(blank=True, default=0, verbose_name='and … charges after')),
            ('window_after_running_h', models.PositiveIntegerField(blank=True, default=0, verbose_name='and … running hours after')),
            ('window_before_charges', models.PositiveIntegerField(blank=True, default=0, verbose_name='may be done … charges before')),
            ('window_before_running_h', models.PositiveIntegerField(blank=True, default=0, verbose_name='may be done … running hours before')),
        ],
        options={
            'ordering': ['kiln', 'next_due_on'],
            'constraints': [models.CheckConstraint(condition=models.Q(('every__gte', 1), models.Q(('rrule', ''), _negated=True), ('every_running_h__gte', 1), ('every_charges__gte', 1), _connector='OR'), name='standing_task_recurs_somehow'), models.CheckConstraint(condition=models.Q(('every__isnull', True), models.Q(('every_unit', ''), _negated=True), _connector='OR'), name='standing_task_has_unit'), models.CheckConstraint(condition=models.Q(('every__isnull', True), ('rrule', ''), _connector='OR'), name='standing_task_one_calendar'), models.CheckConstraint(condition=models.Q(models.Q(('window_after_running_h', 0), ('window_before_running_h', 0)), models.Q(('every_running_h__gt', models.F('window_before_running_h')), ('every_running_h__isnull', False)), _connector='OR'), name='standing_task_window_fits_running_h'), models.CheckConstraint(condition=models.Q(models.Q(('window_after_charges', 0), ('window_before_charges', 0)), models.Q(('every_charges__gt', models.F('window_before_charges')), ('every_charges__isnull', False)), _connector='OR'), name='standing_task_window_fits_charges')],
        },
    ),
]
