"""The tables of plans, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Plan',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('name', models.CharField(blank=True, max_length=120, verbose_name='name')),
            ('state', models.CharField(choices=[('wanted', 'wanted'), ('under_way', 'being worked out'), ('worked_out', 'worked out'), ('ended', 'ended early'), ('accepted', 'accepted'), ('set_aside', 'set aside'), ('failed', 'failed')], default='wanted', max_length=10)),
            ('wanted_at', models.DateTimeField(verbose_name='wanted')),
            ('suppositions', models.JSONField(blank=True, default=list)),
            ('seconds_allowed', models.PositiveIntegerField(default=60, verbose_name='seconds allowed')),
            ('wants_stop', models.BooleanField(default=False)),
            ('base_at', models.DateTimeField(blank=True, null=True, verbose_name='drawn')),
            ('problem', models.JSONField(blank=True, default=dict)),
            ('charge_ids', models.JSONField(blank=True, default=dict)),
            ('last_charge_ids', models.JSONField(blank=True, default=dict)),
            ('versions', models.JSONField(blank=True, default=dict)),
            ('notes', models.JSONField(blank=True, default=list)),
            ('aside', models.JSONField(blank=True, default=dict)),
            ('unsafe', models.JSONField(blank=True, default=dict)),
            ('plan', models.JSONField(blank=True, default=dict)),
            ('as_it_stood', models.JSONField(blank=True, default=dict)),
            ('cost_cents', models.BigIntegerField(blank=True, null=True)),
            ('bound_cents', models.BigIntegerField(blank=True, null=True)),
            ('due_date_cents', models.BigIntegerField(blank=True, null=True)),
            ('as_it_stood_cents', models.BigIntegerField(blank=True, null=True)),
            ('is_best', models.BooleanField(default=False, verbose_name='proven best')),
            ('progress', models.JSONField(blank=True, default=list)),
            ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='worked out at')),
            ('failure', models.TextField(blank=True, verbose_name='failure')),
            ('decided_at', models.DateTimeField(blank=True, null=True, verbose_name='decided')),
            ('changes', models.JSONField(blank=True, default=list)),
            ('version', models.PositiveIntegerField(default=0)),
            ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('wanted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('sureness', models.JSONField(blank=True, default=dict)),
            ('pins_let_go', models.JSONField(blank=True, default=dict)),
            ('starts', models.PositiveSmallIntegerField(default=0)),
        ],
        options={
            'ordering': ['-wanted_at', '-id'],
            'constraints': [models.CheckConstraint(condition=models.Q(('bound_cents__isnull', True), ('bound_cents__lte', models.F('cost_cents')), _connector='OR'), name='plan_bound_below_cost'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'accepted'), _negated=True), ('decided_at__isnull', False), _connector='OR'), name='plan_accepted_says_when'), models.CheckConstraint(condition=models.Q(('seconds_allowed__gt', 0)), name='plan_takes_time'), models.CheckConstraint(condition=models.Q(models.Q(('state__in', ['worked_out', 'ended', 'accepted']), _negated=True), models.Q(('base_at__isnull', False), ('cost_cents__isnull', False)), _connector='OR'), name='plan_worked_out_has_cost')],
        },
    ),
    migrations.CreateModel(
        name='KilnStop',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('lock_out_at', models.DateTimeField(verbose_name='locked out from')),
            ('ready_at', models.DateTimeField(verbose_name='ready again')),
            ('after_charge', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='plant.charge')),
            ('during_charge', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='plant.charge')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='stops', to='plant.kiln')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lock_outs', to='plant.person')),
            ('plan', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stops', to='maintenance.plan')),
        ],
        options={
            'ordering': ['lock_out_at'],
            'indexes': [models.Index(fields=['person', 'lock_out_at'], name='stop_by_person_start')],
            'constraints': [models.CheckConstraint(condition=models.Q(('ready_at__gt', models.F('lock_out_at'))), name='stop_in_order')],
        },
    ),
    migrations.CreateModel(
        name='PlaceLook',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.PositiveSmallIntegerField(default=1, unique=True)),
            ('looked_at', models.DateTimeField()),
            ('change', models.BigIntegerField()),
            ('faults', models.JSONField(blank=True, default=dict)),
        ],
    ),
]
