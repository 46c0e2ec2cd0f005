import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0017_add_kind_of_customer'),
    ]

    operations = [
        migrations.CreateModel(
            name='MergedEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('old_id', models.PositiveBigIntegerField()),
                ('code', models.CharField(max_length=40)),
                ('name', models.CharField(max_length=120)),
                ('merged_on', models.DateField()),
                ('fault', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='merged_entries', to='repairs.fault')),
                ('fix', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='merged_entries', to='repairs.fix')),
            ],
            options={
                'verbose_name_plural': 'merged entries',
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('fault', None), ('fix__isnull', False)), models.Q(('fault__isnull', False), ('fix', None)), _connector='OR'), name='merged_entry_is_of_one_kind')],
            },
        ),
    ]
