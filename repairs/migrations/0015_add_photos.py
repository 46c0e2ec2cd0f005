import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0014_record_parts_not_from_stock'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Photo',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('added_at', models.DateTimeField()),
                ('stage', models.CharField(choices=[('arrival', 'on arrival'), ('work', 'during work'), ('done', 'after repair')], max_length=10)),
                ('caption', models.CharField(blank=True, max_length=200)),
                ('for_customer', models.BooleanField(default=False, help_text='With its caption, on the page behind the customer’s link.', verbose_name='Show to the customer')),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('size', models.PositiveIntegerField(verbose_name='bytes')),
                ('thumbnail_size', models.PositiveIntegerField(verbose_name='bytes of the thumbnail')),
                ('sha256', models.CharField(max_length=64, verbose_name='SHA-256')),
                ('removed_at', models.DateTimeField(null=True)),
                ('removed_why', models.CharField(blank=True, max_length=200, verbose_name='reason')),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='repairs.job')),
                ('removed_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='PhotoFile',
            fields=[
                ('photo', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='file', serialize=False, to='repairs.photo')),
                ('thumbnail', models.BinaryField()),
                ('picture', models.BinaryField()),
            ],
            options={
                'verbose_name': 'picture',
            },
        ),
        migrations.CreateModel(
            name='PhotoLink',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('token_hash', models.CharField(editable=False, max_length=64, unique=True)),
                ('works_until', models.DateTimeField()),
                ('made_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(editable=False, null=True)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='photo_links', to='repairs.job')),
                ('made_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('revoked_by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.AddField(
            model_name='photo',
            name='link',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='repairs.photolink'),
        ),
        migrations.AddConstraint(
            model_name='photolink',
            constraint=models.CheckConstraint(condition=models.Q(('token_hash', ''), _negated=True), name='photo_link_has_token'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.CheckConstraint(condition=models.Q(('height__gte', 1), ('size__gte', 1), ('width__gte', 1)), name='photo_is_not_empty'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.CheckConstraint(condition=models.Q(('removed_at', None), models.Q(('removed_why', ''), _negated=True), _connector='OR'), name='photo_removed_with_reason'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.UniqueConstraint(condition=models.Q(('removed_at', None)), fields=('job', 'sha256'), name='photo_once_on_a_job'),
        ),
    ]
