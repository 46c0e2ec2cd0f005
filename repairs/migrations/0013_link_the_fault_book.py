from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0012_order_parts'),
    ]

    operations = [
        migrations.AddField(
            model_name='fault',
            name='checks',
            field=models.ManyToManyField(blank=True, related_name='faults', to='repairs.check', verbose_name='checks'),
        ),
        migrations.AddField(
            model_name='fault',
            name='kinds',
            field=models.CharField(blank=True, default='', max_length=200, verbose_name='kinds of device'),
        ),
        migrations.AddField(
            model_name='fault',
            name='misled',
            field=models.TextField(blank=True, default='', max_length=4000, verbose_name='what misled us'),
        ),
        migrations.AddField(
            model_name='fault',
            name='symptoms',
            field=models.ManyToManyField(blank=True, related_name='faults', to='repairs.symptom', verbose_name='usual symptoms'),
        ),
    ]
