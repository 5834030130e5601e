"""What the groups may write of site surveys, plans and installation records."""

from django.contrib.auth.management import create_permissions
from django.db import migrations

OUR_APPS = ("sites", "installs", "calibration", "quality")

WRITES = {
    "program manager": {
        "worksettings": "add change",
        "curingtable": "add change",
        "arrayplan": "add change approve",
        "planelement": "add change",
        "stagetemplate": "add change",
        "instrument": "add change",
        "productbatch": "add change",
        "installationrecord": "add change accept",
        "recordlimit": "add change",
        "itementry": "add",
        "photo": "add change",
        "disposition": "add",
        "signoff": "add",
    },
    "technician": {
        "arrayplan": "add change",
        "planelement": "add change",
        "instrument": "add change",
        "productbatch": "add change",
        "installationrecord": "add change",
        "itementry": "add",
        "photo": "add change",
        "disposition": "add",
        "signoff": "add",
    },
}


def add_permissions(apps, schema_editor):
    """Give the groups their new permissions (safe to repeat)."""
    for label in OUR_APPS:
        config = apps.get_app_config(label)
        config.models_module = True
        create_permissions(config, apps=apps, verbosity=0)
        config.models_module = None
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    ours = Permission.objects.filter(content_type__app_label__in=OUR_APPS)
    for name in ("program manager", "technician", "analyst", "guest"):
        group, _ = Group.objects.get_or_create(name=name)
        group.permissions.add(*ours.filter(codename__startswith="view_"))
        for model, verbs in WRITES.get(name, {}).items():
            codenames = [f"{verb}_{model}" for verb in verbs.split()]
            group.permissions.add(
                *ours.filter(
                    content_type__app_label="installs", codename__in=codenames
                )
            )


class Migration(migrations.Migration):
    dependencies = [
        ("quality", "0002_roles"),
        ("installs", "0002_plans_records_templates"),
    ]

    operations = [migrations.RunPython(add_permissions, migrations.RunPython.noop)]
