from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('billing', '0002_find_invoices_faster'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterField(
            model_name='dayclose',
            name='day',
            field=models.DateField(),
        ),
        migrations.AddConstraint(
            model_name='dayclose',
            constraint=models.UniqueConstraint(fields=('day', 'currency'), name='day_close_once_a_currency'),
        ),
    ]
