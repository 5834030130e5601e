from django.apps import AppConfig


class QualityConfig(AppConfig):
    name = "quality"
    verbose_name = "What it recorded"
    default_auto_field = "django.db.models.BigAutoField"
