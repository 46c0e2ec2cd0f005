from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopdesk', '0005_tax_by_what_is_sold'),
    ]

    operations = [
        migrations.AddField(
            model_name='user',
            name='language',
            field=models.CharField(blank=True, max_length=7),
        ),
    ]
