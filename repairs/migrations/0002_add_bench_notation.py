import shopdesk.fields
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='reading',
            name='at_hertz',
            field=shopdesk.fields.FixedDecimalField(blank=True, null=True, verbose_name='at frequency'),
        ),
        migrations.AddField(
            model_name='reading',
            name='expects_open',
            field=models.BooleanField(default=False, verbose_name='expected open'),
        ),
        migrations.AddField(
            model_name='reading',
            name='is_diode',
            field=models.BooleanField(default=False, verbose_name='diode mode'),
        ),
        migrations.AddField(
            model_name='reading',
            name='relation',
            field=models.CharField(blank=True, choices=[('', 'exact'), ('>', 'above'), ('<', 'below'), ('OL', 'open circuit')], default='', max_length=2),
        ),
        migrations.AddField(
            model_name='reading',
            name='stage',
            field=models.CharField(blank=True, choices=[('before', 'before the repair'), ('after', 'after the repair')], default='', max_length=6),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('relation__in', ['', '>', '<', 'OL'])), name='reading_relation_is_known'),
        ),
    ]
