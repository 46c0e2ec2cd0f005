import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0003_record_battery_disconnected'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='devicemodel',
            name='family',
            field=models.CharField(blank=True, default='', max_length=60),
        ),
        migrations.AlterField(
            model_name='check',
            name='results',
            field=models.CharField(blank=True, max_length=2000),
        ),
        migrations.CreateModel(
            name='LearntCount',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('level', models.CharField(blank=True, max_length=100)),
                ('feature', models.CharField(blank=True, max_length=100)),
                ('faults_json', models.TextField(default='{}')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('level', 'feature'), name='learnt_count_once')],
            },
        ),
        migrations.CreateModel(
            name='CheckResult',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('result', models.CharField(max_length=120)),
                ('made_at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('check_made', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='results_found', to='repairs.check', verbose_name='check')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='check_results', to='repairs.job')),
            ],
            options={
                'verbose_name': 'result of a check',
                'verbose_name_plural': 'results of checks',
                'ordering': ['id'],
                'constraints': [models.UniqueConstraint(fields=('job', 'check_made'), name='check_result_once_a_job'), models.CheckConstraint(condition=models.Q(('result', ''), _negated=True), name='check_result_is_not_empty')],
            },
        ),
        migrations.CreateModel(
            name='LearntCase',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('board', models.CharField(blank=True, max_length=40)),
                ('closed_on', models.DateField()),
                ('features', models.TextField(blank=True)),
                ('fault', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='learnt', to='repairs.fault')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='learnt', to='repairs.job')),
                ('model', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='learnt', to='repairs.devicemodel')),
            ],
            options={
                'ordering': ['id'],
                'indexes': [models.Index(fields=['fault', 'model'], name='learnt_fault_model')],
                'constraints': [models.UniqueConstraint(fields=('job', 'fault'), name='learnt_fault_once')],
            },
        ),
    ]
