import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0011_record_cause_and_stopgap_life'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='PartOrder',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField()),
                ('outstanding', models.PositiveIntegerField(editable=False)),
                ('ordered_on', models.DateField()),
                ('expected_on', models.DateField(blank=True, null=True)),
                ('cancelled_on', models.DateField(blank=True, editable=False, null=True)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='part',
            name='lead_days',
            field=models.PositiveSmallIntegerField(blank=True, help_text='From order to delivery. Blank: 7.', null=True, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(365)], verbose_name='lead time (days)'),
        ),
        migrations.AddField(
            model_name='part',
            name='reorder_level',
            field=models.PositiveIntegerField(blank=True, help_text='Ordered when stock is at or below it. Blank: calculated from use. 0: ordered for jobs only.', null=True),
        ),
        migrations.AddField(
            model_name='part',
            name='supplier',
            field=models.ForeignKey(blank=True, help_text='Blank: the supplier of the last delivery.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='repairs.supplier'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('lead_days', None), models.Q(('lead_days__gte', 1), ('lead_days__lte', 365)), _connector='OR'), name='part_lead_time_makes_sense'),
        ),
        migrations.AddField(
            model_name='partorder',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='partorder',
            name='part',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='orders', to='repairs.part'),
        ),
        migrations.AddField(
            model_name='partorder',
            name='supplier',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='orders', to='repairs.supplier'),
        ),
        migrations.AddIndex(
            model_name='partorder',
            index=models.Index(condition=models.Q(('outstanding__gt', 0)), fields=['part'], name='order_of_part'),
        ),
        migrations.AddConstraint(
            model_name='partorder',
            constraint=models.CheckConstraint(condition=models.Q(('outstanding__lte', models.F('quantity')), ('quantity__gte', 1)), name='part_order_quantity'),
        ),
        migrations.AddConstraint(
            model_name='partorder',
            constraint=models.CheckConstraint(condition=models.Q(('cancelled_on', None), ('outstanding', 0), _connector='OR'), name='part_order_cancelled_is_closed'),
        ),
        migrations.AddConstraint(
            model_name='partorder',
            constraint=models.CheckConstraint(condition=models.Q(('expected_on', None), ('expected_on__gte', models.F('ordered_on')), _connector='OR'), name='part_order_expected_after_ordered'),
        ),
    ]
