from django.apps import AppConfig


class SitesConfig(AppConfig):
    name = "sites"
    verbose_name = "Where"
    default_auto_field = "django.db.models.BigAutoField"
