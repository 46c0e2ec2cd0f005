from datetime import date

from django.db import migrations, models


def existing_shops_are_set_up(apps, schema_editor):
    apps.get_model('shopdesk', 'Shop').objects.update(set_up_on=date.today())


class Migration(migrations.Migration):

    dependencies = [
        ('shopdesk', '0001_initial'),
    ]

    operations = [
        migrations.AddField(
            model_name='shop',
            name='payment_text',
            field=models.TextField(blank=True, default='', help_text='Printed on invoices that are not paid yet. For example: your bank account.', max_length=2000, verbose_name='How to pay'),
        ),
        migrations.AddField(
            model_name='shop',
            name='set_up_on',
            field=models.DateField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='shop',
            name='tax_name',
            field=models.CharField(blank=True, default='', help_text='As printed on documents, such as VAT. Blank: Tax.', max_length=20, verbose_name='Name of the tax'),
        ),
        migrations.AddField(
            model_name='shop',
            name='time_zone',
            field=models.CharField(blank=True, default='', help_text='Decides when a day ends. Blank: the time zone of the server.', max_length=40, verbose_name='Time zone'),
        ),
        migrations.AlterField(
            model_name='shop',
            name='invoice_text',
            field=models.TextField(blank=True, default='', help_text='Printed at the bottom of every invoice, paid or not. For example: opening hours.', max_length=2000, verbose_name='On invoices'),
        ),
        migrations.RunPython(existing_shops_are_set_up, migrations.RunPython.noop),
    ]
