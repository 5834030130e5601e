from django.apps import AppConfig


class WimprogConfig(AppConfig):
    """The project package, installed so that its templates and commands are found."""

    name = "wimprog"
    verbose_name = "WIM program"
