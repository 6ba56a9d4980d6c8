"""The tables of bars, as all migrations up to 0023_pins_that_do_not_hold leave them."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='LetIn',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('key', models.UUIDField(unique=True)),
            ('act', models.CharField(choices=[('let_in', 'let in despite a bar'), ('taken_back', 'taken back')], max_length=10)),
            ('why', models.CharField(max_length=300, verbose_name='why')),
            ('at', models.DateTimeField()),
            ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ('finding', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='let_ins', to='maintenance.finding')),
            ('first', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='taken_back', to='maintenance.letin')),
        ],
        options={
            'ordering': ['at', 'id'],
            'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('act', 'let_in'), ('first__isnull', True)), models.Q(('act', 'taken_back'), ('first__isnull', False)), _connector='OR'), name='let_in_taken_back_names_the_first'), models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='let_in_says_why')],
        },
    ),
]
