"""The tables of people, as all migrations up to 0014_pages_that_are_known leave them."""

import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

TABLES = [
    migrations.CreateModel(
        name='Person',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=20, unique=True, verbose_name='code')),
            ('name', models.CharField(max_length=80, verbose_name='name')),
            ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
            ('phone', models.CharField(blank=True, max_length=40, verbose_name='telephone')),
            ('is_active', models.BooleanField(default=True, verbose_name='works here')),
        ],
        options={
            'ordering': ['name'],
        },
    ),
    migrations.CreateModel(
        name='Shift',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=20, unique=True)),
            ('name', models.CharField(max_length=60, verbose_name='name')),
            ('weekdays', models.CharField(help_text='For example MO,TU,WE,TH,FR', max_length=30, verbose_name='weekdays')),
            ('start_time', models.TimeField(verbose_name='start')),
            ('end_time', models.TimeField(verbose_name='end')),
            ('overtime_minutes', models.PositiveIntegerField(default=120, verbose_name='most overtime in minutes')),
        ],
        options={
            'ordering': ['code'],
        },
    ),
    migrations.CreateModel(
        name='Skill',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('code', models.SlugField(max_length=40, unique=True)),
            ('name', models.CharField(max_length=80, verbose_name='name')),
            ('is_licensed_trade', models.BooleanField(default=False, verbose_name='licensed trade')),
            ('source', models.CharField(blank=True, max_length=300, verbose_name='source')),
            ('source_status', models.CharField(blank=True, max_length=120, verbose_name='how sure')),
        ],
        options={
            'ordering': ['name'],
        },
    ),
    migrations.CreateModel(
        name='User',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('password', models.CharField(max_length=128, verbose_name='password')),
            ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
            ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
            ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
            ('first_name', models.CharField(blank=True, max_length=150, verbose_name='first name')),
            ('last_name', models.CharField(blank=True, max_length=150, verbose_name='last name')),
            ('email', models.EmailField(blank=True, max_length=254, verbose_name='email address')),
            ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
            ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
            ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
            ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
            ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ('person', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='user', to='plant.person')),
            ('has_first_password', models.BooleanField(default=False, help_text='Somebody else chose it and knows it: it must be changed before anything else.', verbose_name='has a first password')),
            ('known_pages', models.JSONField(default=list, help_text='Names of pages whose purpose this person has folded away.', verbose_name='pages that are known')),
        ],
        options={
            'verbose_name': 'user',
            'verbose_name_plural': 'users',
            'abstract': False,
        },
        managers=[
            ('objects', django.contrib.auth.models.UserManager()),
        ],
    ),
    migrations.CreateModel(
        name='Absence',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('start_at', models.DateTimeField(verbose_name='from')),
            ('end_at', models.DateTimeField(verbose_name='until')),
            ('reason', models.CharField(blank=True, max_length=80, verbose_name='reason')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='absences', to='plant.person')),
        ],
        options={
            'ordering': ['start_at'],
            'constraints': [models.CheckConstraint(condition=models.Q(('end_at__gt', models.F('start_at'))), name='absence_in_order')],
        },
    ),
    migrations.CreateModel(
        name='RoleHeld',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('role', models.CharField(choices=[('planner', 'planner'), ('kiln_master', 'kiln master'), ('storekeeper', 'storekeeper'), ('technician', 'technician'), ('manager', 'manager'), ('auditor', 'auditor'), ('administrator', 'administrator')], max_length=16, verbose_name='role')),
            ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='roles_held', to=settings.AUTH_USER_MODEL)),
        ],
        options={
            'constraints': [models.UniqueConstraint(fields=('user', 'role'), name='role_once'), models.CheckConstraint(condition=models.Q(('role__in', ['planner', 'kiln_master', 'storekeeper', 'technician', 'manager', 'auditor', 'administrator'])), name='role_known')],
        },
    ),
    migrations.CreateModel(
        name='ShiftDuty',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('from_on', models.DateField(verbose_name='from')),
            ('until_on', models.DateField(blank=True, null=True, verbose_name='until')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='duties', to='plant.person')),
            ('shift', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='duties', to='plant.shift')),
        ],
        options={
            'ordering': ['person', 'from_on'],
            'constraints': [models.UniqueConstraint(fields=('person', 'shift', 'from_on'), name='duty_once'), models.CheckConstraint(condition=models.Q(('until_on__isnull', True), ('until_on__gte', models.F('from_on')), _connector='OR'), name='duty_in_order')],
        },
    ),
    migrations.CreateModel(
        name='Qualification',
        fields=[
            ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
            ('valid_until', models.DateField(blank=True, null=True, verbose_name='valid until')),
            ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='qualifications', to='plant.person')),
            ('skill', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='qualifications', to='plant.skill')),
        ],
        options={
            'ordering': ['person', 'skill'],
            'constraints': [models.UniqueConstraint(fields=('person', 'skill'), name='qualification_once')],
        },
    ),
]
