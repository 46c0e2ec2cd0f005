import django.db.models.deletion
import shopdesk.fields
from decimal import Decimal
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0008_record_test_conditions'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='PastImport',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('file', models.CharField(max_length=200)),
                ('imported_at', models.DateTimeField()),
                ('rows', models.PositiveIntegerField()),
                ('made_json', models.TextField(editable=False)),
                ('undone_at', models.DateTimeField(editable=False, null=True)),
            ],
            options={
                'verbose_name': 'import',
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='SheetDraft',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('file', models.CharField(max_length=200)),
                ('created_at', models.DateTimeField()),
                ('changed_at', models.DateTimeField()),
                ('content', models.BinaryField()),
                ('cells', models.BinaryField()),
                ('decisions_json', models.TextField(editable=False)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='SheetLayout',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('signature', models.CharField(max_length=64, unique=True)),
                ('decisions_json', models.TextField()),
                ('saved_at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='UncodedRepair',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('fault_text', models.TextField(blank=True, max_length=2000)),
                ('fix_text', models.TextField(blank=True, max_length=2000)),
                ('outcome', models.CharField(blank=True, choices=[('fixed', 'fixed'), ('not_fixed', 'not fixed'), ('no_fault_found', 'no fault found'), ('not_repairable', 'not repairable')], default='', max_length=14)),
                ('minutes', models.PositiveIntegerField(default=0)),
                ('charged', shopdesk.fields.MoneyField(blank=True, null=True)),
                ('parts_cost', shopdesk.fields.MoneyField(default=Decimal('0'))),
            ],
            options={
                'verbose_name': 'repair not coded yet',
                'verbose_name_plural': 'repairs not coded yet',
                'ordering': ['id'],
            },
        ),
        migrations.RemoveConstraint(
            model_name='job',
            name='job_outcome_is_known',
        ),
        migrations.AlterField(
            model_name='job',
            name='outcome',
            field=models.CharField(blank=True, choices=[('fixed', 'fixed'), ('not_fixed', 'not fixed'), ('no_fault_found', 'no fault found'), ('not_repairable', 'not repairable'), ('declined', 'declined'), ('not_coded', 'not coded yet')], default='', editable=False, max_length=14),
        ),
        migrations.AddField(
            model_name='pastimport',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='job',
            name='past_import',
            field=models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='repairs.pastimport'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('outcome__in', ['', 'fixed', 'not_fixed', 'no_fault_found', 'not_repairable', 'declined', 'not_coded'])), name='job_outcome_is_known'),
        ),
        migrations.AddField(
            model_name='sheetdraft',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='uncodedrepair',
            name='fault',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='repairs.fault'),
        ),
        migrations.AddField(
            model_name='uncodedrepair',
            name='fix',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='repairs.fix'),
        ),
        migrations.AddField(
            model_name='uncodedrepair',
            name='job',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='uncoded_repairs', to='repairs.job'),
        ),
        migrations.AddConstraint(
            model_name='uncodedrepair',
            constraint=models.CheckConstraint(condition=models.Q(('outcome__in', ['', 'fixed', 'not_fixed', 'no_fault_found', 'not_repairable'])), name='uncoded_outcome_is_known'),
        ),
        migrations.AddConstraint(
            model_name='uncodedrepair',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('charged', None), ('charged__gte', 0), _connector='OR'), ('parts_cost__gte', 0)), name='uncoded_amounts_not_negative'),
        ),
    ]
