from django.apps import AppConfig


class CalibrationConfig(AppConfig):
    name = "calibration"
    verbose_name = "How true it weighs"
    default_auto_field = "django.db.models.BigAutoField"
