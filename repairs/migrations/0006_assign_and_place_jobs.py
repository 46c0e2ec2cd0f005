import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0005_find_lists_faster'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='job',
            name='assigned_to',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='job',
            name='place',
            field=models.CharField(blank=True, max_length=40, verbose_name='storage place'),
        ),
        migrations.AddField(
            model_name='job',
            name='waiting_note',
            field=models.CharField(blank=True, max_length=120, verbose_name='part or person'),
        ),
        migrations.AddField(
            model_name='job',
            name='waiting_since',
            field=models.DateField(blank=True, editable=False, null=True),
        ),
    ]
