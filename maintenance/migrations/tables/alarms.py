"""The tables of alarms, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='EntryAlarm',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('act', models.CharField(choices=[('raised', 'raised'), ('over', 'no longer so'), ('answered', 'answered')], max_length=8)),
            ('source', models.CharField(choices=[('readings', 'readings'), ('charge', 'a charge that has begun'), ('stop_ended', 'a stop that has ended')], max_length=10, verbose_name='what said so')),
            ('said', models.TextField(verbose_name='what was said')),
            ('inside', models.JSONField(default=list)),
            ('outside', models.CharField(blank=True, max_length=120)),
            ('at', models.DateTimeField()),
            ('note', models.TextField(blank=True, verbose_name='what was done')),
            ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entry_alarms', to='plant.kiln')),
            ('permit', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='alarms', to='maintenance.entrypermit')),
            ('raising', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='followed_by', to='maintenance.entryalarm')),
        ],
        options={
            'ordering': ['at', 'id'],
            'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('act', 'raised'), ('raising__isnull', True)), models.Q(models.Q(('act', 'raised'), _negated=True), ('raising__isnull', False)), _connector='OR'), name='entry_alarm_follows_a_raised_one'), models.CheckConstraint(condition=models.Q(models.Q(('act', 'answered'), _negated=True), models.Q(('note', ''), _negated=True), _connector='OR'), name='entry_alarm_answer_says_what'), models.UniqueConstraint(condition=models.Q(('act', 'over')), fields=('raising',), name='entry_alarm_over_once')],
        },
    ),
]
