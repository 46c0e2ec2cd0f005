from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0004_learn_from_closed_jobs'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddIndex(
            model_name='customer',
            index=models.Index(fields=['erased_on', 'name', 'id'], name='customer_list'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['customer', 'booked_in_on'], name='job_of_customer'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(fields=['device', 'booked_in_on'], name='job_of_device'),
        ),
    ]
