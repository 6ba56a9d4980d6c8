"""The tables of checks, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='CheckItem',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('is_substitute', models.BooleanField(default=False, verbose_name='stands in for a point that could not be seen')),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.component')),
            ('point', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='maintenance.checkpoint')),
            ('check_up', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='items', to='maintenance.functioncheck')),
        ],
        options={
            'ordering': ['check_up', 'point__end_view_no', 'point__code', 'component__tag'],
            'constraints': [models.UniqueConstraint(fields=('check_up', 'point', 'component'), name='check_item_once_per_component'), models.UniqueConstraint(condition=models.Q(('component__isnull', True)), fields=('check_up', 'point'), name='check_item_once')],
        },
    ),
    migrations.CreateModel(
        name='Defect',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('found_at', models.DateTimeField(verbose_name='found')),
            ('what', models.CharField(max_length=200, verbose_name='what is wrong')),
            ('consequence', models.TextField(blank=True, verbose_name='consequence')),
            ('likelihood', models.CharField(choices=[('sure', 'it is failing now'), ('soon', 'before the next opening'), ('later', 'some time later')], default='soon', max_length=8, verbose_name='likelihood')),
            ('cost_of_delay_per_day', plant.fields.MoneyField(decimal_places=2, default=0, verbose_name='cost of delay per day')),
            ('is_safety', models.BooleanField(default=False, verbose_name='safety')),
            ('blocks_entry', models.BooleanField(default=False, verbose_name='blocks entry')),
            ('cured_at', models.DateTimeField(blank=True, null=True, verbose_name='mended')),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='defects', to='plant.component')),
            ('failure_mode', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='defects', to='plant.failuremode')),
            ('found_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='defects', to='plant.kiln')),
            ('finding', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='defect', to='maintenance.finding')),
        ],
        options={
            'ordering': ['-found_at'],
        },
    ),
    migrations.CreateModel(
        name='Finding',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('result', models.CharField(choices=[('sound', 'sound'), ('worn', 'worn'), ('defect', 'defect'), ('not_seen', 'could not be seen')], max_length=8)),
            ('reason', models.CharField(blank=True, max_length=200, verbose_name='why it could not be seen')),
            ('note', models.TextField(blank=True, verbose_name='note')),
            ('at', models.DateTimeField()),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('failure_mode', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.failuremode')),
            ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='maintenance.checkitem')),
            ('sitting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='maintenance.sitting')),
            ('against', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='maintenance.finding')),
            ('confirms', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='maintenance.finding')),
        ],
        options={
            'ordering': ['at', 'id'],
        },
    ),
    migrations.CreateModel(
        name='FunctionCheck',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('number', models.CharField(max_length=20, unique=True, verbose_name='number')),
            ('started_at', models.DateTimeField(verbose_name='started')),
            ('completed_at', models.DateTimeField(blank=True, null=True, verbose_name='completed')),
            ('withdrawn_at', models.DateTimeField(blank=True, null=True, verbose_name='withdrawn')),
            ('withdrawn_why', models.CharField(blank=True, max_length=200)),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='checks', to='plant.kiln')),
            ('started_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'ordering': ['-started_at'],
            'constraints': [models.UniqueConstraint(condition=models.Q(('completed_at__isnull', True), ('withdrawn_at__isnull', True)), fields=('kiln',), name='check_one_under_way_per_kiln')],
        },
    ),
    migrations.CreateModel(
        name='ProofTest',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('tested_at', models.DateTimeField(verbose_name='tested')),
            ('outcome', models.CharField(choices=[('passed', 'passed'), ('failed', 'failed')], max_length=8)),
            ('seal_no', models.CharField(blank=True, max_length=40, verbose_name='number of the seal')),
            ('next_due_on', models.DateField(verbose_name='next due')),
            ('note', models.TextField(blank=True, verbose_name='note')),
            ('component', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='proof_tests', to='plant.component')),
            ('tested_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.person')),
            ('work_order', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='proof_tests', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['-tested_at'],
            'constraints': [models.CheckConstraint(condition=models.Q(('outcome', 'failed'), models.Q(('seal_no', ''), _negated=True), _connector='OR'), name='proof_test_passed_has_seal')],
        },
    ),
    migrations.CreateModel(
        name='Sitting',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('kiln_state', models.CharField(choices=[('running', 'running'), ('open_empty', 'open and empty'), ('either', 'either')], max_length=12, verbose_name='kiln')),
            ('started_at', models.DateTimeField(verbose_name='started')),
            ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='ended')),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('check_up', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sittings', to='maintenance.functioncheck')),
        ],
        options={
            'ordering': ['started_at'],
            'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('check_up', 'by'), name='sitting_one_open_per_person')],
        },
    ),
    migrations.CreateModel(
        name='TakenBack',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('at', models.DateTimeField()),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('finding', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='taken_back', to='maintenance.finding')),
        ],
        options={
            'ordering': ['at', 'id'],
        },
    ),
]
