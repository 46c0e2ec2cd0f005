from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('shopdesk', '0004_add_api_tokens'),
    ]

    operations = [
        migrations.AlterField(
            model_name='shop',
            name='tax_kind',
            field=models.CharField(choices=[('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], default='standard', help_text='For all that no rule below is about. Lines may differ.', max_length=8, verbose_name='Usual tax'),
        ),
        migrations.CreateModel(
            name='TaxRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sold', models.CharField(blank=True, choices=[('', 'everything'), ('labour', 'labour'), ('part', 'parts'), ('fee', 'fees')], default='', max_length=6, verbose_name='sold')),
                ('buyer', models.CharField(blank=True, choices=[('', 'all customers'), ('private', 'private customers'), ('business', 'businesses'), ('abroad', 'businesses in another country'), ('exempt', 'exempt organisations')], default='', max_length=8, verbose_name='to')),
                ('kind', models.CharField(choices=[('standard', 'standard rate'), ('reduced', 'reduced rate'), ('zero', 'zero rate'), ('exempt', 'exempt'), ('reverse', 'reverse charge'), ('outside', 'not subject to tax')], max_length=8, verbose_name='tax')),
                ('reason', models.CharField(blank=True, max_length=200, verbose_name='why there is no tax')),
            ],
            options={
                'ordering': ['sold', 'buyer'],
                'constraints': [models.UniqueConstraint(fields=('sold', 'buyer'), name='tax_rule_once'), models.CheckConstraint(condition=models.Q(('buyer', ''), ('sold', ''), _negated=True), name='tax_rule_is_about_something')],
            },
        ),
    ]
