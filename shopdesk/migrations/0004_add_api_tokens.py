import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopdesk', '0003_delete_old_photos'),
    ]

    operations = [
        migrations.AlterField(
            model_name='trailentry',
            name='action',
            field=models.CharField(choices=[('created', 'created'), ('changed', 'changed'), ('deleted', 'deleted'), ('erased', 'personal data erased'), ('merged', 'another record merged into this one'), ('code_shown', 'access code shown'), ('downloaded', 'data downloaded'), ('imported', 'data imported'), ('backed_up', 'backup made'), ('restored', 'backup restored'), ('signed_in', 'signed in'), ('signed_out', 'signed out'), ('sign_in_failed', 'sign-in failed'), ('passphrase_issued', 'passphrase issued'), ('wrong_secret', 'wrong password or code'), ('factor_added', 'second factor set up'), ('factor_removed', 'second factor removed'), ('codes_replaced', 'recovery codes replaced'), ('recovery_code_used', 'recovery code used'), ('key_changed', 'key of access codes changed'), ('sessions_ended', 'sessions ended'), ('api_used', 'API token used')], max_length=20),
        ),
        migrations.CreateModel(
            name='ApiToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60, unique=True)),
                ('token_hash', models.CharField(editable=False, max_length=64, unique=True)),
                ('shows_costs', models.BooleanField(default=False, verbose_name='costs and margins')),
                ('shows_personal_data', models.BooleanField(default=False, verbose_name='personal data')),
                ('works_until', models.DateTimeField(verbose_name='valid until')),
                ('created_at', models.DateTimeField(editable=False)),
                ('revoked_at', models.DateTimeField(editable=False, null=True, verbose_name='revoked')),
                ('last_used_at', models.DateTimeField(editable=False, null=True, verbose_name='last used')),
                ('created_by', models.ForeignKey(editable=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('revoked_by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'API token',
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('name', ''), _negated=True), models.Q(('token_hash', ''), _negated=True)), name='api_token_has_name')],
            },
        ),
    ]
