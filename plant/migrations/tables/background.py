"""The tables of background, as all migrations up to 0014_pages_that_are_known leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Heartbeat',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('name', models.CharField(max_length=20, unique=True)),
            ('at', models.DateTimeField(blank=True, null=True, verbose_name='last heard')),
            ('worker', models.CharField(blank=True, max_length=160)),
            ('queue_row', models.BigIntegerField(blank=True, null=True)),
            ('keeper', models.CharField(blank=True, max_length=160)),
            ('kept_at', models.DateTimeField(blank=True, null=True)),
            ('restarts', models.PositiveIntegerField(default=0)),
            ('restarted_at', models.DateTimeField(blank=True, null=True)),
        ],
    ),
    migrations.CreateModel(
        name='Job',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.CharField(max_length=200, unique=True, verbose_name='key')),
            ('what', models.CharField(max_length=80, verbose_name='what')),
            ('arguments', models.JSONField(default=dict)),
            ('state', models.CharField(choices=[('waiting', 'waiting'), ('under_way', 'under way'), ('finished', 'finished'), ('failed', 'failed')], default='waiting', max_length=10, verbose_name='state')),
            ('wanted_at', models.DateTimeField(verbose_name='wanted')),
            ('not_before_at', models.DateTimeField(verbose_name='not before')),
            ('started_at', models.DateTimeField(blank=True, null=True, verbose_name='started')),
            ('finished_at', models.DateTimeField(blank=True, null=True, verbose_name='ended')),
            ('progress_done', models.PositiveIntegerField(default=0)),
            ('progress_total', models.PositiveIntegerField(default=0)),
            ('progress_note', models.CharField(blank=True, max_length=200)),
            ('result', models.JSONField(blank=True, null=True)),
            ('failure', models.TextField(blank=True, verbose_name='failure')),
            ('queue_row', models.BigIntegerField(blank=True, null=True)),
            ('wanted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'ordering': ['-wanted_at', '-id'],
            'indexes': [models.Index(fields=['state', '-wanted_at'], name='job_by_state')],
            'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'under_way', 'finished', 'failed'])), name='job_state_known'), models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', False), ('state__in', ['finished', 'failed'])), models.Q(('finished_at__isnull', True), ('state__in', ['waiting', 'under_way'])), _connector='OR'), name='job_ended_has_instant')],
        },
    ),
    migrations.CreateModel(
        name='JobAttempt',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('started_at', models.DateTimeField(verbose_name='started')),
            ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='ended')),
            ('outcome', models.CharField(choices=[('running', 'under way'), ('done', 'finished'), ('failed', 'failed'), ('vanished', 'its worker vanished'), ('interrupted', 'stopped with the server')], default='running', max_length=12)),
            ('worker', models.CharField(max_length=160, verbose_name='worker')),
            ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='attempts', to='plant.job')),
        ],
        options={
            'ordering': ['job', 'id'],
            'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('job',), name='attempt_one_at_a_time'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', True), ('outcome', 'running')), models.Q(('ended_at__isnull', False), models.Q(('outcome', 'running'), _negated=True)), _connector='OR'), name='attempt_ended_has_outcome'), models.CheckConstraint(condition=models.Q(('ended_at__isnull', True), ('ended_at__gte', models.F('started_at')), _connector='OR'), name='attempt_in_order')],
        },
    ),
]
