"""ASGI entry for the web server: the front, with Django behind it, and before it what a proxy says of the sender."""

import os

from django.conf import settings
from django.core.servers.basehttp import get_internal_wsgi_application
from granian.utils.proxies import wrap_asgi_with_proxy_headers

from config.front import Front

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
# A form with a file is a little larger than the file.
application = Front(
    get_internal_wsgi_application(), settings.WEB_THREADS, max(settings.MAX_LOAD_BYTES, 16 * 1024 * 1024) + 1024 * 1024
)
if settings.PROXIES:
    application = wrap_asgi_with_proxy_headers(application, settings.PROXIES)
