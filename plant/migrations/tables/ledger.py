"""The tables of ledger, as all migrations up to 0014_pages_that_are_known leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Change',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('at', models.DateTimeField(verbose_name='when')),
            ('subject_kind', models.CharField(max_length=40)),
            ('subject_key', models.CharField(max_length=60)),
            ('act', models.CharField(max_length=80, verbose_name='what')),
            ('before', models.JSONField(default=dict)),
            ('after', models.JSONField(default=dict)),
            ('note', models.TextField(blank=True, verbose_name='note')),
            ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'ordering': ['at', 'id'],
            'indexes': [models.Index(fields=['subject_kind', 'subject_key', 'at'], name='change_by_subject')],
        },
    ),
]
