"""The tables of charges, as all migrations up to 0014_pages_that_are_known leave them."""

import django.db.models.deletion
import plant.fields
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Charge',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('number', models.CharField(max_length=20, verbose_name='number')),
            ('species', models.CharField(max_length=60, verbose_name='species')),
            ('thickness_mm', models.PositiveIntegerField(verbose_name='thickness in mm')),
            ('volume_m3', plant.fields.QuantityField(decimal_places=3, verbose_name='volume in m³')),
            ('initial_mc_pct', plant.fields.ExactDecimalField(blank=True, decimal_places=1, null=True, verbose_name='moisture content at the start in %')),
            ('final_mc_pct', plant.fields.ExactDecimalField(blank=True, decimal_places=1, null=True, verbose_name='wanted moisture content in %')),
            ('basis', models.CharField(choices=[('planned', 'planned'), ('running', 'running'), ('done', 'unloaded')], default='planned', max_length=8)),
            ('planned_begin_at', models.DateTimeField(verbose_name='planned begin')),
            ('planned_end_at', models.DateTimeField(verbose_name='planned end')),
            ('begin_at', models.DateTimeField(verbose_name='begin')),
            ('end_at', models.DateTimeField(verbose_name='end')),
            ('end_spread_h', plant.fields.ExactDecimalField(decimal_places=1, default=0, help_text='Standard deviation.', verbose_name='usual shift of the end in hours')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='charges', to='plant.kiln')),
        ],
        options={
            'ordering': ['kiln', 'begin_at'],
            'indexes': [models.Index(fields=['kiln', 'begin_at'], name='charge_by_kiln_begin')],
            'constraints': [models.UniqueConstraint(fields=('kiln', 'number'), name='charge_number_once_per_kiln'), models.CheckConstraint(condition=models.Q(('end_at__gt', models.F('begin_at'))), name='charge_ends_after_begin'), models.CheckConstraint(condition=models.Q(('planned_end_at__gt', models.F('planned_begin_at'))), name='charge_plan_in_order'), models.CheckConstraint(condition=models.Q(('volume_m3__gt', 0)), name='charge_has_volume')],
        },
    ),
    migrations.CreateModel(
        name='Phase',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('kind', models.CharField(choices=[('loading', 'loading'), ('heating_up', 'heating up'), ('drying', 'drying'), ('conditioning', 'conditioning'), ('cooling', 'cooling'), ('unloading', 'unloading')], max_length=14)),
            ('planned_begin_at', models.DateTimeField()),
            ('planned_end_at', models.DateTimeField()),
            ('begin_at', models.DateTimeField()),
            ('end_at', models.DateTimeField()),
            ('charge', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='phases', to='plant.charge')),
        ],
        options={
            'ordering': ['charge', 'begin_at'],
            'constraints': [models.UniqueConstraint(fields=('charge', 'kind'), name='phase_once_per_charge'), models.CheckConstraint(condition=models.Q(('end_at__gte', models.F('begin_at'))), name='phase_ends_after_begin')],
        },
    ),
    migrations.CreateModel(
        name='Downtime',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('kind', models.CharField(choices=[('planned', 'planned'), ('unplanned', 'unplanned'), ('external', 'cause outside the kiln'), ('no_timber', 'no timber')], max_length=12, verbose_name='kind')),
            ('start_at', models.DateTimeField(verbose_name='start')),
            ('end_at', models.DateTimeField(blank=True, null=True, verbose_name='end')),
            ('announced_at', models.DateTimeField(blank=True, null=True, verbose_name='announced')),
            ('share_lost', plant.fields.ExactDecimalField(decimal_places=3, default=1, verbose_name='share of capacity lost')),
            ('cause', models.CharField(blank=True, max_length=200, verbose_name='cause')),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='downtimes', to='plant.component')),
            ('failure_mode', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='downtimes', to='plant.failuremode')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='downtimes', to='plant.kiln')),
        ],
        options={
            'ordering': ['kiln', 'start_at'],
            'indexes': [models.Index(fields=['kiln', 'start_at'], name='downtime_by_kiln_start')],
            'constraints': [models.CheckConstraint(condition=models.Q(('end_at__isnull', True), ('end_at__gt', models.F('start_at')), _connector='OR'), name='downtime_in_order'), models.CheckConstraint(condition=models.Q(('share_lost__gt', 0), ('share_lost__lte', 1)), name='downtime_share'), models.UniqueConstraint(fields=('kiln', 'start_at', 'kind'), name='downtime_once')],
        },
    ),
]
