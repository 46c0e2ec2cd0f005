import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0010_reserve_parts'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='StopgapAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('answer', models.CharField(choices=[('holds', 'it holds'), ('came_back', 'the fault came back'), ('no_answer', 'no answer')], max_length=9)),
                ('asked_on', models.DateField()),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='repair',
            name='ask_on',
            field=models.DateField(blank=True, null=True, verbose_name='ask how it holds on'),
        ),
        migrations.AddField(
            model_name='repair',
            name='cause',
            field=models.CharField(blank=True, max_length=300),
        ),
        migrations.AddField(
            model_name='repair',
            name='customer_note',
            field=models.TextField(blank=True, max_length=1000, verbose_name='note for the customer'),
        ),
        migrations.AddField(
            model_name='repair',
            name='expected_days',
            field=models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='expected to last'),
        ),
        migrations.AddField(
            model_name='repair',
            name='recurs_if',
            field=models.CharField(blank=True, max_length=300, verbose_name='what would bring it back'),
        ),
        migrations.AlterField(
            model_name='repair',
            name='note',
            field=models.TextField(blank=True, max_length=4000, verbose_name='note for the shop'),
        ),
        migrations.AddIndex(
            model_name='repair',
            index=models.Index(condition=models.Q(('ask_on__isnull', False)), fields=['ask_on'], name='repair_to_ask_about'),
        ),
        migrations.AddConstraint(
            model_name='repair',
            constraint=models.CheckConstraint(condition=models.Q(('expected_days', None), ('expected_days__gte', 1), _connector='OR'), name='repair_expected_to_last'),
        ),
        migrations.AddField(
            model_name='stopgapanswer',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='stopgapanswer',
            name='repair',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='stopgap_answers', to='repairs.repair'),
        ),
        migrations.AddConstraint(
            model_name='stopgapanswer',
            constraint=models.CheckConstraint(condition=models.Q(('answer__in', ['holds', 'came_back', 'no_answer'])), name='stopgap_answer_is_known'),
        ),
    ]
