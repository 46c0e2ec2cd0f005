import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Letter',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('to', models.EmailField(max_length=254)),
                ('subject', models.CharField(max_length=200)),
                ('text', models.TextField(max_length=20000)),
                ('about', models.CharField(blank=True, max_length=200)),
                ('message_id', models.CharField(max_length=200, unique=True)),
                ('written_at', models.DateTimeField()),
                ('due_at', models.DateTimeField(null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('said', models.CharField(blank=True, max_length=300, verbose_name='what went wrong')),
                ('sent_at', models.DateTimeField(null=True)),
                ('dropped_at', models.DateTimeField(null=True)),
                ('written_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='Attachment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120)),
                ('kind', models.CharField(max_length=80, verbose_name='media type')),
                ('file', models.BinaryField()),
                ('letter', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='attachments', to='post.letter')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddIndex(
            model_name='letter',
            index=models.Index(fields=['due_at'], name='post_letter_due_at_897e48_idx'),
        ),
        migrations.AddConstraint(
            model_name='letter',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('to', ''), _negated=True), models.Q(('subject', ''), _negated=True)), name='letter_is_addressed'),
        ),
        migrations.AddConstraint(
            model_name='letter',
            constraint=models.CheckConstraint(condition=models.Q(('sent_at', None), models.Q(('dropped_at', None), ('due_at', None)), _connector='OR'), name='letter_sent_is_over'),
        ),
        migrations.AddConstraint(
            model_name='letter',
            constraint=models.CheckConstraint(condition=models.Q(('dropped_at', None), ('due_at', None), _connector='OR'), name='letter_dropped_is_over'),
        ),
    ]
