"""Django's `migrate`, one process at a time, and with the guards of this version."""

from django.core.management.commands import migrate

from shopdesk.keeping import migrating


class Command(migrate.Command):
    help = migrate.Command.help + " Sets up the guards of this version at the end."

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
        return None
