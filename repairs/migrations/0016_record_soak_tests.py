import shopdesk.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0015_add_photos'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='finaltest',
            name='final_test_counts',
        ),
        migrations.AddField(
            model_name='finaltest',
            name='hours',
            field=shopdesk.fields.FixedDecimalField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='finaltest',
            name='needed_hours',
            field=shopdesk.fields.FixedDecimalField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='soak_failures',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='job',
            name='soak_hours',
            field=shopdesk.fields.FixedDecimalField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='repair',
            name='tries_required',
            field=models.PositiveSmallIntegerField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='repair',
            name='tries_required_why',
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddConstraint(
            model_name='finaltest',
            constraint=models.CheckConstraint(condition=models.Q(('needed__gte', 1), models.Q(models.Q(('failed__lte', models.F('tries')), ('hours', None), ('tries__gte', 1)), models.Q(('hours__gt', 0), ('tries', 0)), _connector='OR')), name='final_test_counts'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('soak_failures', None), ('soak_hours', None)), models.Q(('soak_failures__gte', 1), ('soak_hours__gt', 0)), _connector='OR'), name='job_soak_failures_in_hours'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(('tries_required', None), ('tries_required__gte', 1), _connector='OR'), name='repair_tries_required'),
        ),
    ]
