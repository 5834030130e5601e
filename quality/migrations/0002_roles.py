"""The four groups, each with the least it needs.

Everybody may look at everything but other people's accounts; the groups differ in what
they may write. Later migrations add to this; none of them reads code outside itself.
"""

from django.contrib.auth.management import create_permissions
from django.db import migrations

OUR_APPS = ("sites", "installs", "calibration", "quality")

WRITES = {
    "program manager": {
        "sites": {"program": "change", "site": "add change", "lane": "add change"},
        "installs": {
            "technologyprofile": "add change",
            "sensormodel": "add change",
            "electricallimit": "add change delete",
            "sensor": "add change",
            "installation": "add change",
            "maintenancevisit": "add change",
        },
        "calibration": {"calibrationsession": "add change"},
    },
    "technician": {
        "installs": {
            "sensor": "add change",
            "installation": "add change",
            "electricaltest": "add change",
            "reading": "add change",
            "maintenancevisit": "add change",
        },
        "calibration": {
            "testvehicle": "add change",
            "staticweighing": "add",
            "calibrationsession": "add change",
            "truckrun": "add change",
        },
    },
    "analyst": {
        "calibration": {"truckrun": "change"},
        "quality": {
            "recordfile": "add",
            "recordimport": "add change",
            "dayreview": "add",
        },
    },
    "guest": {},
}


def make_groups(apps, schema_editor):
    """Make the groups and give each its permissions (safe to repeat)."""
    for label in OUR_APPS:
        config = apps.get_app_config(label)
        config.models_module = True
        create_permissions(config, apps=apps, verbosity=0)
        config.models_module = None
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    ours = Permission.objects.filter(content_type__app_label__in=OUR_APPS)
    for name, writes in WRITES.items():
        group, _ = Group.objects.get_or_create(name=name)
        group.permissions.add(*ours.filter(codename__startswith="view_"))
        for label, models in writes.items():
            for model, verbs in models.items():
                codenames = [f"{verb}_{model}" for verb in verbs.split()]
                wanted = ours.filter(
                    content_type__app_label=label, codename__in=codenames
                )
                group.permissions.add(*wanted)


def drop_groups(apps, schema_editor):
    """Take the four groups away again."""
    apps.get_model("auth", "Group").objects.filter(name__in=WRITES).delete()


class Migration(migrations.Migration):
    dependencies = [
        ("quality", "0001_initial"),
        ("calibration", "0001_initial"),
        ("installs", "0001_initial"),
        ("sites", "0001_initial"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]

    operations = [migrations.RunPython(make_groups, drop_groups)]
