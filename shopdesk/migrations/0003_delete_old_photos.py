import shopdesk.fields
from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('shopdesk', '0002_set_up'),
    ]

    operations = [
        migrations.AddField(
            model_name='shop',
            name='photo_months',
            field=shopdesk.fields.SmallNumberField(blank=True, default=None, help_text='From handover of the device. Blank: photos are kept.', null=True, verbose_name='Delete photos after (months)'),
        ),
    ]
