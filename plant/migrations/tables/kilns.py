"""The tables of kilns, as all migrations up to 0014_pages_that_are_known leave them."""

import django.core.validators
import django.db.models.deletion
import plant.fields
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='ComponentKind',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=60, unique=True)),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('group', models.CharField(choices=[('envelope', 'envelope'), ('doors', 'doors'), ('air', 'air'), ('heat', 'heat'), ('humidity', 'humidity'), ('climate_sensing', 'climate sensing'), ('wood_moisture_sensing', 'wood-moisture sensing'), ('safety', 'safety'), ('surroundings', 'surroundings')], max_length=24, verbose_name='group')),
            ('end_view_no', models.PositiveSmallIntegerField(validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(12)], verbose_name='number in the end view')),
            ('description', models.TextField(blank=True, verbose_name='description')),
            ('source', models.CharField(blank=True, max_length=300, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=120, verbose_name='how sure')),
        ],
        options={
            'ordering': ['end_view_no', 'name'],
        },
    ),
    migrations.CreateModel(
        name='Kiln',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('tag', models.SlugField(max_length=20, unique=True, verbose_name='tag')),
            ('name', models.CharField(blank=True, max_length=80, verbose_name='name')),
            ('usable_m3', plant.fields.QuantityField(decimal_places=3, verbose_name='usable volume in m³')),
            ('heating_medium', models.CharField(choices=[('hot_water', 'hot water'), ('steam', 'steam'), ('thermal_oil', 'thermal oil'), ('direct_fired', 'direct-fired'), ('electric', 'electricity'), ('heat_pump', 'heat pump')], max_length=20, verbose_name='heated by')),
            ('humidifying', models.CharField(choices=[('water_spray', 'cold water spray'), ('hot_water_spray', 'hot water spray'), ('steam_spray', 'steam spray'), ('none', 'none')], max_length=20, verbose_name='humidified by')),
            ('climate_sensing', models.CharField(choices=[('psychrometer', 'psychrometer (dry and wet bulb)'), ('emc_plate', 'EMC plates'), ('humidity_sensor', 'humidity sensors')], max_length=20, verbose_name='climate sensed by')),
            ('is_reversing', models.BooleanField(default=True, verbose_name='fans reverse')),
            ('is_inner_skin_visible', models.BooleanField(default=True, help_text='Where it is clad, the outer skin is felt while running.', verbose_name='inner skin can be seen')),
            ('built_on', models.DateField(blank=True, null=True, verbose_name='built on')),
            ('lock_out_minutes', models.PositiveIntegerField(default=60, verbose_name='minutes to lock out and cool')),
            ('restore_minutes', models.PositiveIntegerField(default=30, verbose_name='minutes to restore')),
            ('max_people_inside', models.PositiveIntegerField(default=4, validators=[django.core.validators.MinValueValidator(1)], verbose_name='most people inside')),
            ('is_active', models.BooleanField(default=True, verbose_name='in use')),
            ('mill', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='kilns', to='plant.mill')),
        ],
        options={
            'ordering': ['tag'],
            'constraints': [models.CheckConstraint(condition=models.Q(('usable_m3__gt', 0)), name='kiln_has_volume')],
        },
    ),
    migrations.CreateModel(
        name='Component',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('tag', models.SlugField(max_length=60, verbose_name='tag')),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('side', models.CharField(blank=True, choices=[('left', 'left'), ('right', 'right'), ('both', 'both sides'), ('', 'no side')], max_length=8, verbose_name='side')),
            ('is_active', models.BooleanField(default=True, verbose_name='in use')),
            ('kind', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='components', to='plant.componentkind')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='components', to='plant.kiln')),
        ],
        options={
            'ordering': ['kiln', 'kind__end_view_no', 'tag'],
            'constraints': [models.UniqueConstraint(fields=('kiln', 'tag'), name='component_tag_once_per_kiln')],
        },
    ),
    migrations.CreateModel(
        name='FailureMode',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=80, unique=True)),
            ('name', models.CharField(max_length=160, verbose_name='name')),
            ('mechanism', models.CharField(blank=True, max_length=120, verbose_name='mechanism')),
            ('sign', models.TextField(blank=True, verbose_name='what one sees or reads')),
            ('consequence', models.TextField(blank=True, verbose_name='consequence')),
            ('source', models.CharField(blank=True, max_length=300, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=120, verbose_name='how sure')),
            ('kind', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='failure_modes', to='plant.componentkind')),
            ('likelihood_hint', models.CharField(blank=True, max_length=300, verbose_name='how likely')),
        ],
        options={
            'ordering': ['kind', 'name'],
        },
    ),
    migrations.CreateModel(
        name='MeterReading',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('read_at', models.DateTimeField(verbose_name='read')),
            ('running_h', plant.fields.QuantityField(decimal_places=3, verbose_name='running hours')),
            ('is_new_meter', models.BooleanField(default=False, verbose_name='first reading of a new meter')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='meter_readings', to='plant.kiln')),
        ],
        options={
            'ordering': ['kiln', 'read_at'],
            'constraints': [models.UniqueConstraint(fields=('kiln', 'read_at', 'is_new_meter'), name='meter_read_once_at_a_time'), models.CheckConstraint(condition=models.Q(('running_h__gte', 0)), name='meter_not_negative')],
        },
    ),
    migrations.CreateModel(
        name='Fitting',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('part_code', models.CharField(blank=True, max_length=40, verbose_name='part')),
            ('fitted_at', models.DateTimeField(verbose_name='fitted')),
            ('removed_at', models.DateTimeField(blank=True, null=True, verbose_name='removed')),
            ('removal', models.CharField(blank=True, choices=[('failed', 'it failed'), ('worn', 'worn, before it failed'), ('planned', 'exchanged by plan'), ('other', 'another reason')], max_length=12, verbose_name='why it came out')),
            ('note', models.CharField(blank=True, max_length=200)),
            ('component', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='plant.component')),
            ('failure_mode', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='plant.failuremode')),
        ],
        options={
            'ordering': ['component', 'fitted_at'],
            'constraints': [models.CheckConstraint(condition=models.Q(('removed_at__isnull', True), ('removed_at__gte', models.F('fitted_at')), _connector='OR'), name='fitting_removed_after_fitted'), models.UniqueConstraint(condition=models.Q(('removed_at__isnull', True)), fields=('component',), name='fitting_one_at_a_time')],
        },
    ),
]
