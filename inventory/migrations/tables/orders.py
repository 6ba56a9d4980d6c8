"""The tables of orders, as all migrations up to 0007_guards_anew leave them."""

import django.db.models.deletion
import plant.fields
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='PurchaseOrder',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('number', models.CharField(max_length=20, unique=True, verbose_name='number')),
            ('state', models.CharField(choices=[('drawn_up', 'drawn up'), ('sent', 'sent'), ('part_arrived', 'arrived in part'), ('arrived', 'arrived'), ('withdrawn', 'withdrawn')], default='drawn_up', max_length=12)),
            ('drawn_up_at', models.DateTimeField(verbose_name='drawn up')),
            ('sent_at', models.DateTimeField(blank=True, null=True, verbose_name='sent')),
            ('promised_on', models.DateField(blank=True, null=True, verbose_name='promised for')),
            ('version', models.PositiveIntegerField(default=0)),
            ('drawn_up_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='orders', to='inventory.supplier')),
        ],
        options={
            'ordering': ['-drawn_up_at'],
        },
    ),
    migrations.CreateModel(
        name='PurchaseOrderLine',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('quantity', plant.fields.QuantityField(decimal_places=3, verbose_name='quantity')),
            ('received', plant.fields.QuantityField(decimal_places=3, default=0, verbose_name='arrived')),
            ('unit_price', plant.fields.MoneyField(decimal_places=2, verbose_name='price per unit')),
            ('reason', models.TextField(blank=True, verbose_name='why')),
            ('order', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='inventory.purchaseorder')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='order_lines', to='inventory.part')),
        ],
        options={
            'ordering': ['order', 'part__name'],
            'constraints': [models.UniqueConstraint(fields=('order', 'part'), name='order_line_once'), models.CheckConstraint(condition=models.Q(('quantity__gt', 0), ('received__gte', 0), ('unit_price__gte', 0)), name='order_line_quantity')],
        },
    ),
]
