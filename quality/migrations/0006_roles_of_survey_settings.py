"""What the groups may write of the settings by which surveys are judged."""

from django.contrib.auth.management import create_permissions
from django.db import migrations

WRITES = {
    "program manager": {
        "surveysettings": "add change",
        "surveylimit": "add change delete",
    },
}


def add_permissions(apps, schema_editor):
    """Give the groups their new permissions (safe to repeat)."""
    config = apps.get_app_config("sites")
    config.models_module = True
    create_permissions(config, apps=apps, verbosity=0)
    config.models_module = None
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    ours = Permission.objects.filter(content_type__app_label="sites")
    for name in ("program manager", "technician", "analyst", "guest"):
        group, _ = Group.objects.get_or_create(name=name)
        group.permissions.add(*ours.filter(codename__startswith="view_"))
        for model, verbs in WRITES.get(name, {}).items():
            codenames = [f"{verb}_{model}" for verb in verbs.split()]
            group.permissions.add(*ours.filter(codename__in=codenames))


class Migration(migrations.Migration):
    dependencies = [
        ("quality", "0005_roles_of_calibrating"),
        ("sites", "0004_survey_settings"),
    ]

    operations = [migrations.RunPython(add_permissions, migrations.RunPython.noop)]
