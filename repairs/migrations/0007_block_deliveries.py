from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0006_assign_and_place_jobs'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='stockmovement',
            name='stock_movement_direction',
        ),
        migrations.AddField(
            model_name='delivery',
            name='blocked_on',
            field=models.DateField(blank=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name='delivery',
            name='blocked_quantity',
            field=models.PositiveIntegerField(default=0, editable=False),
        ),
        migrations.AddField(
            model_name='delivery',
            name='blocked_reason',
            field=models.CharField(blank=True, editable=False, max_length=200),
        ),
        migrations.AlterField(
            model_name='stockmovement',
            name='kind',
            field=models.CharField(choices=[('received', 'received'), ('used', 'used'), ('put_back', 'put back'), ('counted', 'counted'), ('scrapped', 'scrapped'), ('blocked', 'blocked'), ('released', 'released')], max_length=8),
        ),
        migrations.AddConstraint(
            model_name='delivery',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('blocked_on', None), ('blocked_quantity', 0), ('blocked_reason', '')), models.Q(('blocked_on__isnull', False), ('remaining', 0)), _connector='OR'), name='delivery_blocked_is_set_aside'),
        ),
        migrations.AddConstraint(
            model_name='stockmovement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind__in', ['received', 'put_back', 'released']), ('quantity__gt', 0)), models.Q(('kind__in', ['used', 'scrapped', 'blocked']), ('quantity__lt', 0)), ('kind', 'counted'), _connector='OR'), name='stock_movement_direction'),
        ),
    ]
