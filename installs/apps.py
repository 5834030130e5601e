from django.apps import AppConfig


class InstallsConfig(AppConfig):
    name = "installs"
    verbose_name = "What is in the road"
    default_auto_field = "django.db.models.BigAutoField"
