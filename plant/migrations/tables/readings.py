"""The tables of readings, as all migrations up to 0014_pages_that_are_known leave them."""

import django.core.validators
import django.db.models.deletion
import plant.validators
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='ReadingSource',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=40, unique=True, verbose_name='code')),
            ('name', models.CharField(max_length=80, verbose_name='name')),
            ('way', models.CharField(choices=[('files', 'files of a logger'), ('sends', 'a system that sends'), ('broker', 'a broker (MQTT)')], max_length=8, verbose_name='way')),
            ('is_active', models.BooleanField(default=True, verbose_name='in use')),
            ('last_heard_at', models.DateTimeField(blank=True, null=True, verbose_name='last heard')),
            ('file_form', models.JSONField(blank=True, default=dict)),
            ('folder', models.CharField(blank=True, max_length=300, verbose_name='folder that is watched')),
            ('broker_host', models.CharField(blank=True, max_length=200, verbose_name='broker')),
            ('broker_port', models.PositiveIntegerField(default=1883, verbose_name='port')),
            ('broker_topic', models.CharField(blank=True, max_length=200, verbose_name='topic')),
            ('broker_user', models.CharField(blank=True, max_length=80, verbose_name='user at the broker')),
            ('is_broker_encrypted', models.BooleanField(default=False, verbose_name='encrypted')),
            ('time_zone', models.CharField(blank=True, help_text="Of times that do not say it. Empty: the mill's.", max_length=64, validators=[plant.validators.validate_time_zone], verbose_name='time zone')),
            ('version', models.PositiveIntegerField(default=0)),
        ],
        options={
            'ordering': ['name'],
        },
    ),
    migrations.CreateModel(
        name='Channel',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('quantity', models.CharField(choices=[('air_temperature', 'air temperature'), ('wet_bulb', 'wet-bulb temperature'), ('relative_humidity', 'relative humidity'), ('emc', 'EMC of the plate'), ('wood_moisture', 'wood moisture'), ('wood_temperature', 'wood temperature'), ('set_air_temperature', 'air temperature set point'), ('set_wet_bulb', 'wet-bulb set point'), ('set_relative_humidity', 'relative humidity set point'), ('set_emc', 'EMC set point'), ('heating_valve', 'heating valve'), ('spray_valve', 'spray valve'), ('flap_position', 'flaps'), ('fan_direction', 'direction of the air'), ('fan_speed', 'fan speed'), ('fan_current', 'fan current'), ('heat_power', 'heat'), ('heating_supply_temperature', 'temperature of the heating medium'), ('outside_temperature', 'outside temperature'), ('outside_humidity', 'outside humidity'), ('door_open', 'main door open'), ('message', 'message of the controller')], max_length=30, verbose_name='quantity')),
            ('place', models.SlugField(blank=True, help_text='left, right or a number where there are several.', max_length=12, verbose_name='position')),
            ('every_s', models.PositiveIntegerField(default=60, validators=[django.core.validators.MinValueValidator(1)], verbose_name='seconds from one reading to the next')),
            ('is_active', models.BooleanField(default=True, verbose_name='in use')),
            ('component', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='channels', to='plant.component')),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='channels', to='plant.kiln')),
        ],
        options={
            'ordering': ['kiln', 'quantity', 'place'],
            'constraints': [models.UniqueConstraint(fields=('kiln', 'quantity', 'place'), name='channel_once_per_kiln'), models.CheckConstraint(condition=models.Q(('every_s__gte', 1)), name='channel_has_pace')],
        },
    ),
    migrations.CreateModel(
        name='ChannelDay',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('day', models.DateField()),
            ('readings', models.PositiveIntegerField()),
            ('marked', models.PositiveIntegerField()),
            ('low', models.FloatField(null=True)),
            ('mean', models.FloatField(null=True)),
            ('high', models.FloatField(null=True)),
            ('channel', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='days', to='plant.channel')),
        ],
        options={
            'ordering': ['channel', 'day'],
            'constraints': [models.UniqueConstraint(fields=('channel', 'day'), name='channel_day_once'), models.CheckConstraint(condition=models.Q(('marked__lte', models.F('readings'))), name='channel_day_marks_within')],
        },
    ),
    migrations.CreateModel(
        name='ChargeFigure',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.CharField(max_length=40)),
            ('value', models.FloatField(null=True)),
            ('why_not', models.CharField(blank=True, max_length=200, verbose_name='why there is none')),
            ('charge', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='figures', to='plant.charge')),
        ],
        options={
            'ordering': ['charge', 'code'],
            'constraints': [models.UniqueConstraint(fields=('charge', 'code'), name='charge_figure_once'), models.CheckConstraint(condition=models.Q(('value__isnull', False), models.Q(('why_not', ''), _negated=True), _connector='OR'), name='charge_figure_or_why_not')],
        },
    ),
    migrations.CreateModel(
        name='Reading',
        fields=[
            ('pk', models.CompositePrimaryKey('channel_id', 'at_s', blank=True, editable=False, primary_key=True, serialize=False)),
            ('at_s', models.BigIntegerField()),
            ('value', models.FloatField()),
            ('marks', models.SmallIntegerField(default=0)),
            ('channel', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='plant.channel')),
        ],
        options={
            'constraints': [models.CheckConstraint(condition=models.Q(('value__gt', -1000000000000.0), ('value__lt', 1000000000000.0)), name='reading_is_a_number'), models.CheckConstraint(condition=models.Q(('at_s__gte', 946684800), ('at_s__lt', 4102444800)), name='reading_in_our_time')],
        },
    ),
    migrations.CreateModel(
        name='FileIntake',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('file_name', models.CharField(max_length=200, verbose_name='file')),
            ('digest', models.CharField(max_length=64)),
            ('at', models.DateTimeField(verbose_name='taken in')),
            ('is_taken_in', models.BooleanField(default=True)),
            ('read', models.PositiveIntegerField(default=0, verbose_name='readings in the file')),
            ('new', models.PositiveIntegerField(default=0, verbose_name='new')),
            ('known', models.PositiveIntegerField(default=0, verbose_name='known already')),
            ('differing', models.PositiveIntegerField(default=0, help_text='The first value that came is kept.', verbose_name='known with another value')),
            ('first_at', models.DateTimeField(blank=True, null=True, verbose_name='from')),
            ('last_at', models.DateTimeField(blank=True, null=True, verbose_name='until')),
            ('faults', models.JSONField(blank=True, default=list)),
            ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('source', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='intakes', to='plant.readingsource')),
        ],
        options={
            'ordering': ['-at', '-id'],
            'indexes': [models.Index(fields=['source', 'digest'], name='file_intake_by_digest')],
        },
    ),
    migrations.CreateModel(
        name='ChannelName',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('name', models.CharField(max_length=200, verbose_name='name at the source')),
            ('unit', models.CharField(blank=True, max_length=20, verbose_name='unit at the source')),
            ('channel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='names', to='plant.channel')),
            ('source', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='names', to='plant.readingsource')),
        ],
        options={
            'ordering': ['source', 'name'],
            'constraints': [models.UniqueConstraint(fields=('source', 'name'), name='channel_name_once_per_source')],
        },
    ),
    migrations.CreateModel(
        name='SourceToken',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('digest', models.CharField(max_length=64, unique=True)),
            ('tail', models.CharField(max_length=4, verbose_name='ends in')),
            ('made_at', models.DateTimeField(verbose_name='made')),
            ('revoked_at', models.DateTimeField(blank=True, null=True, verbose_name='revoked')),
            ('last_used_at', models.DateTimeField(blank=True, null=True, verbose_name='last used')),
            ('made_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('revoked_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('source', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to='plant.readingsource')),
        ],
        options={
            'ordering': ['source', '-made_at'],
        },
    ),
    migrations.CreateModel(
        name='Unsettled',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('from_s', models.BigIntegerField()),
            ('until_s', models.BigIntegerField()),
            ('kiln', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='unsettled', to='plant.kiln')),
        ],
        options={
            'constraints': [models.CheckConstraint(condition=models.Q(('until_s__gte', models.F('from_s'))), name='unsettled_in_order')],
        },
    ),
]
