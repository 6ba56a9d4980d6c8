"""The tables of stock, as all migrations up to 0007_guards_anew leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='ReorderAdvice',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('as_of', models.DateTimeField()),
            ('on_hand', plant.fields.QuantityField(decimal_places=3)),
            ('reserved', plant.fields.QuantityField(decimal_places=3)),
            ('on_order', plant.fields.QuantityField(decimal_places=3)),
            ('planned_need', plant.fields.QuantityField(decimal_places=3)),
            ('reorder_point', plant.fields.QuantityField(decimal_places=3)),
            ('order_quantity', plant.fields.QuantityField(decimal_places=3, default=0)),
            ('stockout_risk', plant.fields.ExactDecimalField(decimal_places=4, default=0)),
            ('is_late', models.BooleanField(default=False)),
            ('reason', models.TextField()),
            ('part', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='advice', to='inventory.part')),
        ],
        options={
            'ordering': ['-order_quantity', 'part__name'],
        },
    ),
    migrations.CreateModel(
        name='Reservation',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('quantity', plant.fields.QuantityField(decimal_places=3, verbose_name='quantity')),
            ('used', plant.fields.QuantityField(decimal_places=3, default=0, verbose_name='taken so far')),
            ('needed_on', models.DateField(verbose_name='needed on')),
            ('source', models.CharField(max_length=40, verbose_name='for')),
            ('purpose', models.CharField(blank=True, max_length=160, verbose_name='purpose')),
            ('is_planned', models.BooleanField(default=True, help_text='Planned need is not counted again as random use.', verbose_name='planned need')),
            ('created_at', models.DateTimeField()),
            ('closed_at', models.DateTimeField(blank=True, null=True)),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reservations', to='inventory.part')),
        ],
        options={
            'ordering': ['needed_on', 'source'],
            'indexes': [models.Index(fields=['part', 'needed_on'], name='reservation_by_part_day')],
            'constraints': [models.CheckConstraint(condition=models.Q(('quantity__gt', 0), ('used__gte', 0)), name='reservation_quantity'), models.UniqueConstraint(fields=('source', 'part'), name='reservation_once_per_source')],
        },
    ),
    migrations.CreateModel(
        name='StockLevel',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('on_hand', plant.fields.QuantityField(decimal_places=3, default=0, verbose_name='on hand')),
            ('bin', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='levels', to='inventory.bin')),
            ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='levels', to='inventory.lot')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='levels', to='inventory.part')),
        ],
        options={
            'ordering': ['part', 'bin'],
            'constraints': [models.CheckConstraint(condition=models.Q(('on_hand__gte', 0)), name='stock_not_below_zero'), models.UniqueConstraint(fields=('part', 'bin', 'lot'), name='stock_level_once_per_lot'), models.UniqueConstraint(condition=models.Q(('lot__isnull', True)), fields=('part', 'bin'), name='stock_level_once')],
        },
    ),
    migrations.CreateModel(
        name='StockMove',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(help_text='Made where the move was entered, so that a second try changes nothing.', unique=True)),
            ('kind', models.CharField(choices=[('receipt', 'receipt'), ('issue', 'issue'), ('return', 'return'), ('count', 'count'), ('scrap', 'scrap'), ('transfer', 'transfer')], max_length=8)),
            ('quantity', plant.fields.QuantityField(decimal_places=3, verbose_name='quantity')),
            ('at', models.DateTimeField(verbose_name='when')),
            ('reason', models.CharField(blank=True, max_length=160, verbose_name='reason')),
            ('bin', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='inventory.bin')),
            ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='inventory.lot')),
            ('order_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='inventory.purchaseorderline')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='inventory.part')),
            ('reservation', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='inventory.reservation')),
        ],
        options={
            'ordering': ['at', 'id'],
            'indexes': [models.Index(fields=['part', 'kind', 'at'], name='move_by_part_kind')],
            'constraints': [models.CheckConstraint(condition=models.Q(('quantity', 0), _negated=True), name='move_moves_something')],
        },
    ),
]
