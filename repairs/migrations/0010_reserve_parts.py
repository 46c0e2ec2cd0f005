import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0009_import_own_lists'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='PartReservation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField()),
                ('remaining', models.PositiveIntegerField(editable=False)),
                ('is_quoted', models.BooleanField(default=False, editable=False, verbose_name='by the quote')),
                ('reserved_at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='reservations', to='repairs.job')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reservations', to='repairs.part')),
            ],
            options={
                'ordering': ['id'],
                'indexes': [models.Index(condition=models.Q(('remaining__gt', 0)), fields=['part'], name='reservation_of_part')],
                'constraints': [models.UniqueConstraint(fields=('job', 'part'), name='reservation_once_a_job'), models.CheckConstraint(condition=models.Q(('quantity__gte', 1), ('remaining__lte', models.F('quantity'))), name='reservation_quantity')],
            },
        ),
    ]
