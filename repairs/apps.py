from django.apps import AppConfig
from django.core import checks


class RepairsConfig(AppConfig):
    name = "repairs"

    def ready(self):
        from repairs.checks import (
            cases_are_counted,
            comebacks_are_as_decided,
            photos_are_whole,
        )
        from repairs.diagnosis.learning import after_closing
        from repairs.jobs.workflow import AFTER_CLOSING

        checks.register(comebacks_are_as_decided, checks.Tags.database)
        checks.register(cases_are_counted, checks.Tags.database)
        checks.register(photos_are_whole, checks.Tags.database)
        AFTER_CLOSING.append(after_closing)
