"""The tables of pricing, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='PriceOfWaiting',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('at', models.DateTimeField(verbose_name='worked out')),
            ('loss', models.CharField(choices=[('door_gap', 'gap at a door'), ('threshold', 'gap at a threshold'), ('open_door', 'door that stands open'), ('open_flap', 'flap that does not shut'), ('poor_wall', 'wet insulation or thermal bridge'), ('bare_pipe', 'bare pipe'), ('steam_leak', 'steam that leaks'), ('water_leak', 'hot water that leaks'), ('warm_wet_bulb', 'wet bulb that reads too warm'), ('less_air', 'fans that stand or run slow'), ('cold_side', 'one side heated less')], max_length=16, verbose_name='what is lost')),
            ('assumptions', models.JSONField(help_text='Field of the kind of loss -> decimal text, temperatures in °C.')),
            ('figures', models.JSONField(help_text='What was worked out on the way, units in the names.')),
            ('bound', models.CharField(choices=[('lower', 'at least'), ('estimate', 'about'), ('upper', 'at most')], max_length=8)),
            ('energy_price_per_kwh', plant.fields.MoneyField(decimal_places=4, verbose_name='energy price per kWh of heat')),
            ('margin_per_m3', plant.fields.MoneyField(decimal_places=2, verbose_name='margin per m³ dried')),
            ('kiln_m3_per_day', plant.fields.QuantityField(decimal_places=3, verbose_name='what the kiln dries a day in m³')),
            ('kwh_per_day', plant.fields.QuantityField(decimal_places=3, verbose_name='heat in kWh a day')),
            ('m3_per_day', plant.fields.QuantityField(decimal_places=3, verbose_name='timber in m³ a day')),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('defect', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='prices', to='maintenance.defect')),
            ('physics_cost_per_day', plant.fields.MoneyField(decimal_places=6, default=0, verbose_name='at least, by physics')),
            ('experience_cost_per_day', plant.fields.MoneyField(decimal_places=6, default=0, verbose_name="by the mill's own charges")),
            ('assumption_cost_per_day', plant.fields.MoneyField(decimal_places=6, default=0, verbose_name='assumed')),
            ('experience_charges', models.PositiveIntegerField(default=0, verbose_name='charges that tell')),
            ('is_measured', models.BooleanField(default=False, verbose_name='measured')),
        ],
        options={
            'ordering': ['at', 'id'],
            'indexes': [models.Index(fields=['defect', 'at'], name='price_by_defect_at')],
        },
    ),
]
