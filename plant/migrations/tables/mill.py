"""The tables of mill, as all migrations up to 0014_pages_that_are_known leave them."""

import plant.fields
import plant.validators
from decimal import Decimal
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='NumberSeries',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('name', models.CharField(max_length=40, unique=True)),
            ('last', models.PositiveIntegerField(default=0)),
        ],
    ),
    migrations.CreateModel(
        name='Mill',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('time_zone', models.CharField(default='Europe/Stockholm', max_length=64, validators=[plant.validators.validate_time_zone], verbose_name='time zone')),
            ('currency', models.CharField(default='EUR', max_length=3, verbose_name='currency')),
            ('temperature_unit', models.CharField(choices=[('degC', '°C'), ('degF', '°F')], default='degC', max_length=8)),
            ('volume_unit', models.CharField(choices=[('m3', 'm³'), ('board_feet', 'board feet')], default='m3', max_length=12)),
            ('horizon_days', models.PositiveIntegerField(default=56, help_text='How far ahead work is raised and placed.', verbose_name='horizon in days')),
            ('planned_notice_days', models.PositiveIntegerField(default=28, help_text='A stop announced at least so long ahead counts as planned (IAEA PRIS: four weeks).', verbose_name='notice of a planned stop in days')),
            ('drying_margin_per_m3', plant.fields.MoneyField(decimal_places=2, default=45, help_text='What a cubic metre that was not dried costs the mill.', verbose_name='margin per m³ dried')),
            ('labour_rate_per_h', plant.fields.MoneyField(decimal_places=2, default=48, verbose_name='labour rate per hour')),
            ('weekly_crew_h', plant.fields.QuantityField(decimal_places=3, default=80, verbose_name='crew hours a week for upkeep')),
            ('entry_limit_c', plant.fields.QuantityField(decimal_places=3, default=35, help_text="Nobody enters a chamber that is warmer. The mill's own limit.", verbose_name='entry limit in °C')),
            ('energy_price_per_kwh', plant.fields.MoneyField(decimal_places=4, default=Decimal('0.08'), help_text='Of heat as it reaches the kilns, losses of the boiler included: it prices leaks and bare pipes.', verbose_name='energy price per kWh of heat')),
            ('height_m', plant.fields.QuantityField(decimal_places=3, default=0, help_text='It sets the air pressure by which humidity, EMC and lost heat are reckoned (ISO 2533).', verbose_name='height above the sea in m')),
        ],
        options={
            'constraints': [models.CheckConstraint(condition=models.Q(('horizon_days__gte', 1), ('horizon_days__lte', 730)), name='mill_horizon'), models.CheckConstraint(condition=models.Q(('drying_margin_per_m3__gte', 0)), name='mill_margin_not_negative'), models.CheckConstraint(condition=models.Q(('energy_price_per_kwh__gte', 0)), name='mill_energy_not_negative'), models.CheckConstraint(condition=models.Q(('height_m__gte', -430), ('height_m__lte', 5000)), name='mill_height')],
        },
    ),
]
