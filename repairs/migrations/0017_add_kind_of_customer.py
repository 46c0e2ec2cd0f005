from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0016_record_soak_tests'),
    ]

    operations = [
        migrations.AddField(
            model_name='customer',
            name='buyer_kind',
            field=models.CharField(blank=True, choices=[('', 'business if a company is entered'), ('private', 'private customer'), ('business', 'business'), ('abroad', 'business in another country'), ('exempt', 'exempt organisation')], default='', max_length=8, verbose_name='kind of customer'),
        ),
    ]
