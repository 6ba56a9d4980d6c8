"""The tables of parts, as all migrations up to 0007_guards_anew leave them."""

import django.db.models.deletion
import plant.clock
import plant.fields
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Bin',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.CharField(max_length=20, unique=True, verbose_name='bin')),
            ('place', models.CharField(blank=True, max_length=80, verbose_name='where it is')),
        ],
        options={
            'ordering': ['code'],
        },
    ),
    migrations.CreateModel(
        name='Lot',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.CharField(max_length=40, verbose_name='lot')),
            ('received_on', models.DateField(verbose_name='received')),
            ('expires_on', models.DateField(blank=True, null=True, verbose_name='expires')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='inventory.part')),
        ],
        options={
            'ordering': ['part', 'expires_on', 'received_on'],
            'constraints': [models.UniqueConstraint(fields=('part', 'code'), name='lot_once_per_part')],
        },
    ),
    migrations.CreateModel(
        name='PartKind',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=60, unique=True)),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('unit', models.CharField(max_length=12, verbose_name='unit')),
            ('shelf_life_days', models.PositiveIntegerField(blank=True, null=True, verbose_name='shelf life in days')),
            ('is_consumable', models.BooleanField(default=False, verbose_name='used up')),
            ('component_kind', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='part_kinds', to='plant.componentkind')),
            ('source', models.CharField(blank=True, max_length=300, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=120, verbose_name='how sure')),
        ],
        options={
            'ordering': ['name'],
        },
    ),
    migrations.CreateModel(
        name='Supplier',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=20, unique=True, verbose_name='code')),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
            ('phone', models.CharField(blank=True, max_length=40, verbose_name='telephone')),
        ],
        options={
            'ordering': ['name'],
        },
    ),
    migrations.CreateModel(
        name='SupplierTerms',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('lead_time_days', plant.fields.ExactDecimalField(decimal_places=1, verbose_name='lead time in days')),
            ('lead_time_sd_days', plant.fields.ExactDecimalField(decimal_places=1, default=0, verbose_name='spread of the lead time in days')),
            ('pack_size', plant.fields.QuantityField(decimal_places=3, default=1, verbose_name='pack size')),
            ('least_order', plant.fields.QuantityField(decimal_places=3, default=1, verbose_name='least order')),
            ('unit_price', plant.fields.MoneyField(decimal_places=2, verbose_name='price per unit')),
            ('is_preferred', models.BooleanField(default=True, verbose_name='preferred')),
            ('part', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='terms', to='inventory.part')),
            ('supplier', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='terms', to='inventory.supplier')),
        ],
        options={
            'ordering': ['part', '-is_preferred', 'unit_price'],
            'constraints': [models.UniqueConstraint(fields=('part', 'supplier'), name='terms_once'), models.UniqueConstraint(condition=models.Q(('is_preferred', True)), fields=('part',), name='terms_one_preferred'), models.CheckConstraint(condition=models.Q(('lead_time_days__gte', 0), ('lead_time_sd_days__gte', 0), ('least_order__gte', 0), ('pack_size__gt', 0), ('unit_price__gte', 0)), name='terms_not_negative')],
        },
    ),
    migrations.CreateModel(
        name='Part',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=40, unique=True, verbose_name='code')),
            ('name', models.CharField(max_length=120, verbose_name='name')),
            ('unit', models.CharField(default='piece', max_length=12, verbose_name='unit')),
            ('criticality', models.CharField(choices=[('stops', 'stops the kiln'), ('slows', 'slows the kiln'), ('waits', 'can wait')], default='waits', max_length=8, verbose_name='without it')),
            ('shelf_life_days', models.PositiveIntegerField(blank=True, null=True, verbose_name='shelf life in days')),
            ('is_active', models.BooleanField(default=True, verbose_name='kept')),
            ('bin', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='inventory.bin')),
            ('fits', models.ManyToManyField(blank=True, related_name='parts', to='plant.componentkind', verbose_name='fits')),
            ('kind', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='inventory.partkind')),
            ('since_at', models.DateTimeField(default=plant.clock.now, editable=False, help_text='Put on record; what was used of it before nobody can tell.')),
        ],
        options={
            'ordering': ['name'],
        },
    ),
]
