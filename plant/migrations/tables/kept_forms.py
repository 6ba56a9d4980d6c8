"""The tables of kept forms, as all migrations up to 0014_pages_that_are_known leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='KeptForm',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('page', models.CharField(max_length=500)),
            ('address', models.CharField(max_length=500)),
            ('fields', models.JSONField()),
            ('has_file', models.BooleanField(default=False)),
            ('at', models.DateTimeField()),
            ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'ordering': ['-at', '-id'],
            'indexes': [models.Index(fields=['user', 'at'], name='kept_form_by_user')],
        },
    ),
]
