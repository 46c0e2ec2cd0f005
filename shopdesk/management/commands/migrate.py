"""Django's `migrate`, one process at a time, and with the guards of this version."""

import sys

from django.core.management.commands import migrate
from django.db import DEFAULT_DB_ALIAS
from tqdm import tqdm

from repairs.diagnosis import learning
from shopdesk.keeping import migrating
from shopdesk.keeping.search_indexes import create_search_indexes


class Command(migrate.Command):
    help = migrate.Command.help + " Sets up the guards and search indexes of this"
    help += " version at the end, and learns from closed jobs."

    def handle(self, *args, **options):
        using = options["database"]
        if options["plan"] or options["check_unapplied"]:
            return super().handle(*args, **options)
        with migrating.one_at_a_time(using):
            if not migrating.is_current(using) or options["app_label"]:
                migrating.remove_guards(using)
            super().handle(*args, **options)
            if migrating.is_current(using) and not migrating.has_guards(using):
                migrating.create_guards(using)
            if migrating.is_current(using):
                create_search_indexes(using)
            if migrating.is_current(using) and using == DEFAULT_DB_ALIAS:
                self._learn(verbosity=options["verbosity"])
        return None

    @staticmethod
    def _learn(*, verbosity):
        """Learn from jobs that an earlier version closed, or an import cut short."""
        if jobs := learning.count_to_learn():
            with tqdm(
                total=jobs,
                desc="learning from closed jobs",
                unit=" jobs",
                leave=False,
                file=sys.stderr,
                disable=None if verbosity else True,
            ) as bar:
                learning.learn_all(bar.update)
