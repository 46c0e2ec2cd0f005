"""Whether the database is the one that this version means."""

from django.apps import apps
from django.core import checks
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

OLD = "shopdesk.E001"


def database_is_of_this_version(databases=None, **kwargs):
    """Until the first release the first migrations are rewritten, so a database may say
    that it has them all and yet lack a column. `migrate` asks this first; without it
    every page would break, each for its own reason.
    """
    return [
        checks.Error(
            f"This database was set up by an earlier version: it lacks {missing}.",
            hint=(
                "Until the first release a database is not brought along. Move it away"
                f" ({where(connection)}) and begin anew; a shop's own past comes in by"
                " its history file."
            ),
            id=OLD,
        )
        for alias in databases or ()
        for connection in [connections[alias]]
        for missing in [what_is_missing(connection)]
        if missing
    ]


def where(connection) -> str:
    name = connection.settings_dict["NAME"]
    return str(name) if connection.vendor == "sqlite" else f"the database {name}"


def is_migrated(connection) -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def what_is_missing(connection) -> str:
    """The first table or column that a database with all migrations must have."""
    if not is_migrated(connection):
        return ""  # they are still to be made
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        for model in apps.get_models(include_auto_created=True):
            options = model._meta
            if not options.managed or options.proxy:
                continue
            if options.db_table not in there:
                return f"the table {options.db_table}"
            told = connection.introspection.get_table_description(
                cursor, options.db_table
            )
            has = {column.name for column in told}
            for field in options.local_concrete_fields:
                if field.column not in has:
                    return f"the column {field.column} of {options.db_table}"
    return ""
