"""Whether the database matches this version, and keeps what it says it has saved."""

from django.apps import apps
from django.conf import settings
from django.core import checks
from django.db import connections
from django.db.migrations.executor import MigrationExecutor

OLD = "shopdesk.E001"
FORGETS = "shopdesk.E002"
NO_PROXY = "shopdesk.W001"
NO_REPLICA = "shopdesk.E003"
NO_SCREENS = "shopdesk.E004"


def https_is_recognised(**kwargs):
    """Return a warning if `HTTPS` is set and no proxy is trusted to say so."""
    if not settings.HTTPS or settings.PROXIES:
        return []
    return [
        checks.Warning(
            "HTTPS=1 without PROXIES: the header X-Forwarded-Proto is not trusted, so"
            " behind a proxy every page redirects to itself.",
            hint="Set PROXIES to the number of your own proxies, such as PROXIES=1.",
            id=NO_PROXY,
        )
    ]


def language_has_screens(**kwargs):
    """Return an error if the screens are not in the language of LANGUAGE_CODE."""
    code, listed = settings.LANGUAGE_CODE, settings.SCREEN_LANGUAGES
    if code.split("-")[0] in listed:
        return []
    return [
        checks.Error(
            f"LANGUAGE_CODE={code} names a language that the screens do not have.",
            hint=f"Use one of these or a variant, such as en-gb: {', '.join(listed)}."
            " The language of papers and emails is a setting of the shop.",
            id=NO_SCREENS,
        )
    ]


def copy_is_of_the_same_kind(**kwargs):
    """Return an error if the analysis is told to read what cannot be a replica."""
    engines = {database["ENGINE"] for database in settings.DATABASES.values()}
    if len(settings.DATABASES) == 1 or all("postgresql" in name for name in engines):
        return []
    return [
        checks.Error(
            "ANALYSIS_DATABASE_URL names a database that cannot be a copy of the"
            " shop’s: only PostgreSQL has streaming replicas.",
            hint="Remove it, or set DATABASE_URL to the PostgreSQL that it follows.",
            id=NO_REPLICA,
        )
    ]


def database_is_of_this_version(databases=None, **kwargs):
    """Return an error that names the first missing table or column.

    Before release 1.0 the first migrations were rewritten, so a database of that time
    may list all migrations as applied and still lack a column. `migrate` checks this
    first.
    """
    return [
        checks.Error(
            f"This database was set up before release 1.0: it lacks {missing}.",
            hint=(
                "Such a database cannot be updated. Move it away"
                f" ({where(connection)}) and start with a new one; import the shop's"
                " past jobs from its history file."
            ),
            id=OLD,
        )
        for alias in databases or ()
        for connection in [connections[alias]]
        for missing in [what_is_missing(connection)]
        if missing
    ]


# Without one of these, a power cut loses what was saved, or damages the database.
DURABLE = ("fsync", "full_page_writes", "synchronous_commit")


def database_is_durable(databases=None, **kwargs):
    """Return an error that names the settings by which PostgreSQL may lose records.

    SQLite is told how to save by each connection; see `settings`.
    """
    return [
        checks.Error(
            f"PostgreSQL runs with {' and '.join(f'{name}=off' for name in off)}: a"
            " power cut would lose what was saved, or damage the database.",
            hint=(
                "Set it to on in postgresql.conf and restart PostgreSQL. If nothing in"
                f" this database matters, set SILENCED_CHECKS={FORGETS}."
            ),
            id=FORGETS,
        )
        for alias in databases or ()
        for off in [_switched_off(connections[alias])]
        if off
    ]


def _switched_off(connection) -> list[str]:
    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT name FROM pg_settings WHERE name = ANY(%s) AND setting = 'off'"
            " ORDER BY name",
            [list(DURABLE)],
        )
        return [name for (name,) in cursor.fetchall()]


def where(connection) -> str:
    name = connection.settings_dict["NAME"]
    return str(name) if connection.vendor == "sqlite" else f"the database {name}"


def is_migrated(connection) -> bool:
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def what_is_missing(connection) -> str:
    """Return the first table or column missing in a database with all migrations
    applied.
    """
    if not is_migrated(connection):
        return ""  # `migrate` will create them
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
