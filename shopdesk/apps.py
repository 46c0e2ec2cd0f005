from django.apps import AppConfig
from django.core import checks
from django.utils import translation

from shopdesk import plain_gettext
from shopdesk.checks import (
    copy_is_of_the_same_kind,
    database_is_durable,
    database_is_of_this_version,
    https_is_recognised,
    language_has_screens,
)


class ShopdeskConfig(AppConfig):
    name = "shopdesk"

    def ready(self):
        # Only now are the models loaded.
        from shopdesk.recording import signals

        checks.register(database_is_of_this_version, checks.Tags.database)
        checks.register(database_is_durable, checks.Tags.database)
        signals.connect()
        plain_gettext.translate_by(translation.gettext, translation.ngettext)
        checks.register(copy_is_of_the_same_kind, checks.Tags.security)
        checks.register(https_is_recognised, checks.Tags.security)
        checks.register(language_has_screens, checks.Tags.translation)
