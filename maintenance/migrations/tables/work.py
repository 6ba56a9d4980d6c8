"""The tables of work, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Assignment',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='assignments', to='plant.person')),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='assignments', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['work_order', 'person__name'],
            'constraints': [models.UniqueConstraint(fields=('work_order', 'person'), name='assignment_once')],
        },
    ),
    migrations.CreateModel(
        name='Labour',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('minutes', models.IntegerField(verbose_name='minutes')),
            ('at', models.DateTimeField()),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.person')),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='labour', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['at', 'id'],
            'constraints': [models.CheckConstraint(condition=models.Q(('minutes', 0), _negated=True), name='labour_takes_time')],
        },
    ),
    migrations.CreateModel(
        name='Placement',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('start_at', models.DateTimeField(verbose_name='from')),
            ('end_at', models.DateTimeField(verbose_name='until')),
            ('is_pinned', models.BooleanField(default=False, verbose_name='keeps its place')),
            ('why', models.TextField(blank=True, verbose_name='why here')),
            ('after_charge', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='placements_after', to='plant.charge', verbose_name='after charge')),
            ('during_charge', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='placements_during', to='plant.charge', verbose_name='during charge')),
            ('work_order', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='placement', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['start_at'],
            'constraints': [models.CheckConstraint(condition=models.Q(('end_at__gt', models.F('start_at'))), name='placement_in_order')],
        },
    ),
    migrations.CreateModel(
        name='StepRecord',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('is_done', models.BooleanField(default=True)),
            ('reading', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('note', models.CharField(blank=True, max_length=200)),
            ('at', models.DateTimeField()),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('step', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='records', to='maintenance.workstep')),
        ],
        options={
            'ordering': ['at', 'id'],
        },
    ),
    migrations.CreateModel(
        name='WorkOrder',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('number', models.CharField(max_length=20, unique=True, verbose_name='number')),
            ('title', models.CharField(max_length=160, verbose_name='job')),
            ('origin', models.CharField(choices=[('standing_task', 'recurring task'), ('finding', 'finding'), ('watch', 'watch'), ('asked_for', 'asked for'), ('function_check', 'function check')], max_length=14, verbose_name='origin')),
            ('occurrence_on', models.DateField(blank=True, null=True, verbose_name='occurrence')),
            ('state', models.CharField(choices=[('raised', 'raised'), ('ready', 'ready'), ('placed', 'placed'), ('under_way', 'under way'), ('done', 'done'), ('signed_off', 'signed off'), ('withdrawn', 'withdrawn')], default='raised', max_length=12)),
            ('needs_state', models.CharField(choices=[('running', 'running'), ('empty', 'open and empty'), ('still', 'stopped'), ('any', 'any')], max_length=8, verbose_name='needs the kiln')),
            ('hours', plant.fields.QuantityField(decimal_places=3, verbose_name='hours')),
            ('crew', models.PositiveSmallIntegerField(default=1, verbose_name='crew')),
            ('earliest_at', models.DateTimeField(blank=True, null=True, verbose_name='not before')),
            ('due_at', models.DateTimeField(verbose_name='due')),
            ('safety_at', models.DateTimeField(blank=True, null=True, verbose_name='safety date')),
            ('is_safety', models.BooleanField(default=False, verbose_name='safety work')),
            ('cost_of_delay_per_day', plant.fields.MoneyField(decimal_places=2, default=0, verbose_name='cost of delay per day')),
            ('why', models.TextField(blank=True, verbose_name='why')),
            ('no_place_why', models.TextField(blank=True, verbose_name='why it has no place')),
            ('raised_at', models.DateTimeField(verbose_name='raised')),
            ('started_at', models.DateTimeField(blank=True, null=True, verbose_name='started')),
            ('done_at', models.DateTimeField(blank=True, null=True, verbose_name='done')),
            ('signed_off_at', models.DateTimeField(blank=True, null=True, verbose_name='signed off')),
            ('withdrawn_why', models.CharField(blank=True, max_length=200, verbose_name='why withdrawn')),
            ('result', models.TextField(blank=True, verbose_name='what was done')),
            ('version', models.PositiveIntegerField(default=0)),
            ('caused_downtime', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='caused_by', to='plant.downtime')),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='plant.component')),
            ('cured_downtime', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='cured_by', to='plant.downtime')),
            ('defect', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='maintenance.defect')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='plant.kiln')),
            ('sheet', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='maintenance.tasksheet')),
            ('signed_off_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('standing_task', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='maintenance.standingtask')),
            ('left_out_at', models.DateTimeField(blank=True, null=True, verbose_name='left out of the plan')),
            ('left_out_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('left_out_why', models.CharField(blank=True, max_length=200, verbose_name='why it is left out')),
            ('not_before_on', models.DateField(blank=True, null=True, verbose_name='not wanted before')),
            ('check_up', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_orders', to='maintenance.functioncheck')),
            ('paused_at', models.DateTimeField(blank=True, null=True, verbose_name='paused')),
            ('cost_unknown_why', models.CharField(blank=True, default='', max_length=240, verbose_name='why waiting has no price')),
            ('covers', models.ManyToManyField(blank=True, related_name='covered_by', to='plant.component')),
            ('pin_lost_why', models.TextField(blank=True, verbose_name='why it was not kept at its place')),
        ],
        options={
            'ordering': ['due_at', 'number'],
            'indexes': [models.Index(fields=['state', 'due_at'], name='work_by_state_due'), models.Index(fields=['kiln', 'state'], name='work_by_kiln_state')],
            'constraints': [models.UniqueConstraint(condition=models.Q(('standing_task__isnull', False)), fields=('standing_task', 'occurrence_on'), name='work_order_once_per_occurrence'), models.UniqueConstraint(condition=models.Q(('defect__isnull', False), models.Q(('state', 'withdrawn'), _negated=True)), fields=('defect',), name='work_order_once_per_defect'), models.CheckConstraint(condition=models.Q(('crew__gte', 1), ('hours__gt', 0)), name='work_order_takes_time'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'withdrawn'), _negated=True), models.Q(('withdrawn_why', ''), _negated=True), _connector='OR'), name='work_order_withdrawn_says_why'), models.CheckConstraint(condition=models.Q(('standing_task__isnull', True), ('occurrence_on__isnull', False), _connector='OR'), name='work_order_names_occurrence'), models.CheckConstraint(condition=models.Q(models.Q(('left_out_at__isnull', True), ('not_before_on__isnull', True)), models.Q(('left_out_why', ''), _negated=True), _connector='OR'), name='work_order_left_out_says_why'), models.UniqueConstraint(condition=models.Q(('check_up__isnull', False), models.Q(('state__in', ['signed_off', 'withdrawn']), _negated=True)), fields=('check_up', 'needs_state'), name='work_order_once_per_part_of_check')],
        },
    ),
    migrations.CreateModel(
        name='WorkPart',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('quantity', plant.fields.QuantityField(decimal_places=3, verbose_name='quantity')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.part')),
            ('reservation', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='work_part', to='inventory.reservation')),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['work_order', 'part__name'],
            'constraints': [models.UniqueConstraint(fields=('work_order', 'part'), name='work_part_once'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0)), name='work_part_quantity')],
        },
    ),
    migrations.CreateModel(
        name='WorkSkill',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('persons', models.PositiveSmallIntegerField(default=1)),
            ('skill', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.skill')),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='skills', to='maintenance.workorder')),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('work_order', 'skill'), name='work_skill_once')],
        },
    ),
    migrations.CreateModel(
        name='WorkStep',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('no', models.PositiveSmallIntegerField()),
            ('text', models.TextField(verbose_name='step')),
            ('reading_name', models.CharField(blank=True, max_length=80)),
            ('reading_unit', models.CharField(blank=True, max_length=20)),
            ('low', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('high', plant.fields.QuantityField(blank=True, decimal_places=3, null=True)),
            ('is_required', models.BooleanField(default=True)),
            ('work_order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='steps', to='maintenance.workorder')),
        ],
        options={
            'ordering': ['work_order', 'no'],
            'constraints': [models.UniqueConstraint(fields=('work_order', 'no'), name='work_step_once')],
        },
    ),
]
