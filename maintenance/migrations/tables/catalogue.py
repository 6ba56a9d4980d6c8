"""The tables of catalogue, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import plant.fields
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Caution',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('source', models.CharField(blank=True, max_length=400, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=160, verbose_name='how sure')),
            ('code', models.SlugField(max_length=60, unique=True)),
            ('title', models.CharField(max_length=120, verbose_name='title')),
            ('text', models.TextField(verbose_name='hazard')),
            ('before_start', models.TextField(blank=True, verbose_name='before the start')),
            ('beside_running', models.TextField(blank=True, verbose_name='beside the running kiln')),
            ('energies', models.CharField(blank=True, max_length=120, verbose_name='energies to lock out')),
            ('is_inside', models.BooleanField(default=False, verbose_name='holds inside the chamber alone')),
            ('states', models.CharField(default='running; still; empty', max_length=40, verbose_name='holds with the kiln')),
        ],
        options={
            'ordering': ['code'],
        },
    ),
    migrations.CreateModel(
        name='CheckPoint',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('source', models.CharField(blank=True, max_length=400, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=160, verbose_name='how sure')),
            ('code', models.SlugField(max_length=60, unique=True)),
            ('end_view_no', models.PositiveSmallIntegerField(verbose_name='number in the end view')),
            ('what', models.CharField(max_length=200, verbose_name='what')),
            ('seen_in', models.CharField(choices=[('running', 'running'), ('open_empty', 'open and empty'), ('either', 'either')], max_length=12, verbose_name='can be seen')),
            ('method', models.TextField(verbose_name='how to look')),
            ('criterion', models.TextField(verbose_name='sound when')),
            ('substitute_when', models.CharField(blank=True, max_length=200, verbose_name='substitute where')),
            ('blocks_entry', models.BooleanField(default=False, verbose_name='a fault blocks entry')),
            ('per', models.CharField(choices=[('component', 'each component'), ('kiln', 'the kiln once')], default='kiln', max_length=10)),
            ('interval_text', models.CharField(blank=True, max_length=200, verbose_name='interval')),
            ('interval_days', models.PositiveIntegerField(blank=True, null=True, verbose_name='interval in days')),
            ('interval_is', models.CharField(choices=[('published', 'published'), ('own_choice', "the mill's own choice")], default='own_choice', max_length=12)),
            ('cautions', models.ManyToManyField(blank=True, related_name='check_points', to='maintenance.caution')),
            ('kind', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='check_points', to='plant.componentkind')),
            ('substitute', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stands_in_for', to='maintenance.checkpoint')),
        ],
        options={
            'ordering': ['end_view_no', 'code'],
            'constraints': [models.CheckConstraint(condition=models.Q(('substitute', models.F('id')), _negated=True), name='check_point_not_own_substitute')],
        },
    ),
    migrations.CreateModel(
        name='StandingDefault',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('source', models.CharField(blank=True, max_length=400, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=160, verbose_name='how sure')),
            ('every', models.PositiveIntegerField()),
            ('every_unit', models.CharField(max_length=14)),
            ('window_before', models.PositiveIntegerField(default=0)),
            ('window_after', models.PositiveIntegerField(default=0)),
            ('reset_early', models.CharField(max_length=12)),
            ('reset_inside', models.CharField(max_length=12)),
            ('reset_late', models.CharField(max_length=12)),
            ('interval_is', models.CharField(choices=[('published', 'published'), ('own_choice', "the mill's own choice")], max_length=12)),
            ('sheet', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='standing_default', to='maintenance.tasksheet')),
        ],
        options={
            'abstract': False,
        },
    ),
    migrations.CreateModel(
        name='TaskPart',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('quantity', plant.fields.QuantityField(decimal_places=3, verbose_name='quantity')),
            ('part_kind', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.partkind')),
            ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='maintenance.tasksheet')),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('sheet', 'part_kind'), name='task_part_once')],
        },
    ),
    migrations.CreateModel(
        name='TaskSheet',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('source', models.CharField(blank=True, max_length=400, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=160, verbose_name='how sure')),
            ('code', models.SlugField(max_length=60, unique=True)),
            ('title', models.CharField(max_length=160, verbose_name='title')),
            ('needs_state', models.CharField(choices=[('running', 'running'), ('empty', 'open and empty'), ('still', 'stopped'), ('any', 'any')], max_length=8, verbose_name='needs the kiln')),
            ('hours', plant.fields.QuantityField(decimal_places=3, verbose_name='hours')),
            ('crew', models.PositiveSmallIntegerField(default=1, verbose_name='crew')),
            ('is_proof_test', models.BooleanField(default=False, verbose_name='proof test')),
            ('is_safety', models.BooleanField(default=False, verbose_name='safety work')),
            ('purpose', models.TextField(blank=True, verbose_name='purpose')),
            ('cautions', models.ManyToManyField(blank=True, related_name='task_sheets', to='maintenance.caution')),
            ('kind', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='task_sheets', to='plant.componentkind')),
        ],
        options={
            'ordering': ['kind__end_view_no', 'title'],
            'constraints': [models.CheckConstraint(condition=models.Q(('crew__gte', 1), ('hours__gt', 0)), name='task_sheet_takes_time')],
        },
    ),
    migrations.CreateModel(
        name='TaskSkill',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('persons', models.PositiveSmallIntegerField(default=1)),
            ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='skills', to='maintenance.tasksheet')),
            ('skill', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.skill')),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('sheet', 'skill'), name='task_skill_once')],
        },
    ),
    migrations.CreateModel(
        name='TaskStep',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('no', models.PositiveSmallIntegerField()),
            ('text', models.TextField(verbose_name='step')),
            ('reading_name', models.CharField(blank=True, max_length=80, verbose_name='reading')),
            ('reading_unit', models.CharField(blank=True, max_length=20, verbose_name='unit')),
            ('low', plant.fields.QuantityField(blank=True, decimal_places=3, null=True, verbose_name='not below')),
            ('high', plant.fields.QuantityField(blank=True, decimal_places=3, null=True, verbose_name='not above')),
            ('is_required', models.BooleanField(default=True, verbose_name='must be done')),
            ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='steps', to='maintenance.tasksheet')),
        ],
        options={
            'ordering': ['sheet', 'no'],
            'constraints': [models.UniqueConstraint(fields=('sheet', 'no'), name='task_step_once')],
        },
    ),
]
