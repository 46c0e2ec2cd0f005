import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0013_link_the_fault_book'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='UnstockedPart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('source', models.CharField(choices=[('customer', 'supplied by the customer'), ('salvaged', 'salvaged from another device')], max_length=8)),
                ('quantity', models.PositiveIntegerField(default=1)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('added_at', models.DateTimeField()),
            ],
            options={
                'verbose_name': 'part not from stock',
                'verbose_name_plural': 'parts not from stock',
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='job',
            name='old_parts',
            field=models.CharField(blank=True, choices=[('', 'not recorded'), ('returned', 'returned to the customer'), ('kept', 'kept by the shop')], default='', max_length=8, verbose_name='replaced parts'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(('old_parts__in', ['', 'returned', 'kept'])), name='job_old_parts_is_known'),
        ),
        migrations.AddField(
            model_name='unstockedpart',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='unstockedpart',
            name='part',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='repairs.part'),
        ),
        migrations.AddField(
            model_name='unstockedpart',
            name='repair',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='unstocked_parts', to='repairs.repair'),
        ),
        migrations.AddConstraint(
            model_name='unstockedpart',
            constraint=models.CheckConstraint(condition=models.Q(('source__in', ['customer', 'salvaged']), ('quantity__gte', 1), models.Q(('name', ''), _negated=True)), name='unstocked_part_is_named'),
        ),
    ]
