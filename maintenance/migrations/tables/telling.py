"""The tables of telling, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='TellingLook',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('at', models.DateTimeField()),
            ('mill', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='plant.mill')),
        ],
    ),
    migrations.CreateModel(
        name='CalendarAddress',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('digest', models.CharField(max_length=64, unique=True)),
            ('tail', models.CharField(max_length=4, verbose_name='ends in')),
            ('made_at', models.DateTimeField(verbose_name='made')),
            ('revoked_at', models.DateTimeField(blank=True, null=True, verbose_name='revoked')),
            ('last_used_at', models.DateTimeField(blank=True, null=True, verbose_name='last used')),
            ('made_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='calendar_addresses', to='plant.person')),
            ('revoked_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'ordering': ['person', '-made_at'],
            'constraints': [models.UniqueConstraint(condition=models.Q(('revoked_at__isnull', True)), fields=('person',), name='calendar_address_one_works')],
        },
    ),
    migrations.CreateModel(
        name='Telling',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('made_at', models.DateTimeField(verbose_name='written')),
            ('subject', models.CharField(max_length=200)),
            ('body', models.TextField()),
            ('sent_at', models.DateTimeField(blank=True, null=True, verbose_name='sent')),
            ('sent_to', models.EmailField(blank=True, max_length=254, verbose_name='sent to')),
            ('claimed_at', models.DateTimeField(blank=True, null=True)),
            ('failure', models.CharField(blank=True, max_length=300, verbose_name='why it could not be sent')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tellings', to='plant.person')),
        ],
        options={
            'ordering': ['made_at', 'id'],
            'indexes': [models.Index(fields=['sent_at', 'made_at'], name='telling_by_sent')],
        },
    ),
    migrations.CreateModel(
        name='ToldPlace',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('start_at', models.DateTimeField()),
            ('end_at', models.DateTimeField()),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='told_places', to='plant.person')),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='told_places', to='maintenance.workorder')),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('work_order', 'person'), name='told_place_once'), models.CheckConstraint(condition=models.Q(('end_at__gt', models.F('start_at'))), name='told_place_in_order')],
        },
    ),
    migrations.CreateModel(
        name='ToldLockOut',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('start_at', models.DateTimeField()),
            ('end_at', models.DateTimeField()),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='plant.kiln')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='told_lock_outs', to='plant.person')),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('kiln', 'person', 'start_at'), name='told_lock_out_once'), models.CheckConstraint(condition=models.Q(('end_at__gte', models.F('start_at'))), name='told_lock_out_in_order')],
        },
    ),
]
