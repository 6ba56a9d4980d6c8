"""The root app: settings, urls, and the frame that every page stands in."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """Holds the base templates and static files."""

    name = "config"
