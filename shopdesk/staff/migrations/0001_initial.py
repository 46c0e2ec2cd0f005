import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('username', models.CharField(error_messages={'unique': 'Somebody here signs in by this name already.'}, max_length=40, unique=True, validators=[django.core.validators.RegexValidator('^[a-z0-9](?:[a-z0-9._-]*[a-z0-9])?\\Z', 'Use small letters and digits, with dots or dashes between them.')], verbose_name='sign-in name')),
                ('name', models.CharField(max_length=80)),
                ('kind', models.CharField(choices=[('counter', 'Counter'), ('bench', 'Bench'), ('owner', 'Owner')], default='counter', max_length=7)),
                ('is_active', models.BooleanField(default=True, verbose_name='may sign in')),
                ('passphrase_until', models.DateTimeField(blank=True, editable=False, null=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['counter', 'bench', 'owner'])), name='staff_kind_is_known')],
            },
        ),
    ]
