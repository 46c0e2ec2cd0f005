import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('repairs', '0018_merge_fault_book_entries'),
    ]

    operations = [
        migrations.CreateModel(
            name='BoardNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('board_revision', models.CharField(blank=True, help_text='Blank: all boards of the model.', max_length=40)),
                ('text', models.TextField(max_length=2000, verbose_name='note')),
                ('fault', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='board_notes', to='repairs.fault')),
                ('model', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='board_notes', to='repairs.devicemodel')),
            ],
            options={
                'ordering': ['model', 'board_revision', 'id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='board_note_has_text')],
            },
        ),
    ]
