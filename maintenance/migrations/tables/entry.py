"""The tables of entry, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='EntryPermit',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('act', models.CharField(choices=[('opened', 'opened for entry'), ('closed', 'everybody is out')], max_length=8)),
            ('at', models.DateTimeField()),
            ('temperature_c', plant.fields.QuantityField(blank=True, decimal_places=3, null=True, verbose_name='temperature inside in °C')),
            ('is_escape_door_tried', models.BooleanField(default=False, verbose_name='escape door tried from inside')),
            ('note', models.CharField(blank=True, max_length=200)),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('kiln', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='permits', to='plant.kiln')),
            ('locked_out_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.person')),
            ('opening', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='closing', to='maintenance.entrypermit')),
            ('watch_outside', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.person')),
            ('work_order', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='permits', to='maintenance.workorder')),
            ('carbon_monoxide_ppm', models.PositiveIntegerField(blank=True, null=True, verbose_name='carbon monoxide in ppm')),
            ('is_air_checked', models.BooleanField(blank=True, null=True, verbose_name='air inside checked for gas')),
            ('left_open', models.JSONField(blank=True, null=True)),
            ('oxygen_pct', plant.fields.ExactDecimalField(blank=True, decimal_places=1, null=True, verbose_name='oxygen in %')),
            ('until_at', models.DateTimeField(blank=True, null=True, verbose_name='everybody is out by')),
        ],
        options={
            'ordering': ['at'],
            'constraints': [models.CheckConstraint(condition=models.Q(('act', 'closed'), models.Q(('is_escape_door_tried', True), ('locked_out_by__isnull', False), ('temperature_c__isnull', False), ('watch_outside__isnull', False)), _connector='OR'), name='permit_says_who_and_how_warm')],
        },
    ),
    migrations.CreateModel(
        name='EntryMove',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField()),
            ('act', models.CharField(choices=[('lock_on', 'own lock on'), ('in', 'goes in'), ('out', 'comes out'), ('lock_off', 'own lock off'), ('outside', 'stays outside from now on'), ('measured', 'measured again'), ('taken_back', 'taken back: it was entered by mistake')], max_length=10)),
            ('at', models.DateTimeField()),
            ('note', models.CharField(blank=True, max_length=200)),
            ('temperature_c', plant.fields.QuantityField(blank=True, decimal_places=3, null=True, verbose_name='temperature inside in °C')),
            ('until_at', models.DateTimeField(blank=True, null=True, verbose_name='everybody is out by')),
            ('is_air_checked', models.BooleanField(blank=True, null=True, verbose_name='air inside checked for gas')),
            ('oxygen_pct', plant.fields.ExactDecimalField(blank=True, decimal_places=1, null=True, verbose_name='oxygen in %')),
            ('carbon_monoxide_ppm', models.PositiveIntegerField(blank=True, null=True, verbose_name='carbon monoxide in ppm')),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('permit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='maintenance.entrypermit')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='plant.person')),
            ('takes_back', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='taken_back_by', to='maintenance.entrymove')),
        ],
        options={
            'ordering': ['id'],
            'constraints': [models.UniqueConstraint(condition=models.Q(('takes_back__isnull', True)), fields=('key', 'act', 'person'), name='entry_move_once_per_tap'), models.CheckConstraint(condition=models.Q(models.Q(('act', 'measured'), _negated=True), ('temperature_c__isnull', False), _connector='OR'), name='entry_move_measured_says_what'), models.CheckConstraint(condition=models.Q(models.Q(('act', 'taken_back'), ('takes_back__isnull', False), models.Q(('note', ''), _negated=True)), models.Q(models.Q(('act', 'taken_back'), _negated=True), ('takes_back__isnull', True)), _connector='OR'), name='entry_move_taken_back_says_what_and_why')],
        },
    ),
]
