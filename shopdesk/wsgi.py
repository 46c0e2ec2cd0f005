"""The WSGI application that a web server calls."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopdesk.settings")
application = get_wsgi_application()
