from django.db import migrations

from shopdesk.guards import GUARDS
from shopdesk.triggers import create, drop


def set_up(apps, schema_editor):
    for statement in create(GUARDS, vendor=schema_editor.connection.vendor):
        schema_editor.execute(statement)


def take_down(apps, schema_editor):
    for statement in drop(GUARDS, vendor=schema_editor.connection.vendor):
        schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("shopdesk", "0001_initial")]
    operations = [migrations.RunPython(set_up, take_down)]
