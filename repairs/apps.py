from django.apps import AppConfig
from django.core import checks


class RepairsConfig(AppConfig):
    name = "repairs"

    def ready(self):
        from repairs.checks import comebacks_are_as_decided

        checks.register(comebacks_are_as_decided, checks.Tags.database)
