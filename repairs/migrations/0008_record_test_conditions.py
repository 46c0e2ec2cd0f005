from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0007_block_deliveries'),
    ]

    operations = [
        migrations.AddField(
            model_name='finaltest',
            name='reproduces',
            field=models.BooleanField(default=False, verbose_name='same conditions'),
        ),
    ]
