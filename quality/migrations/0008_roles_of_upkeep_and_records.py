"""What the groups may write of upkeep, renewal, deliveries, drift and corrections."""

from django.contrib.auth.management import create_permissions
from django.db import migrations

WRITES = {
    "program manager": {
        "installs": {
            "workitem": "add change",
            "trip": "add change",
            "preventiverule": "add change",
            "preventivedone": "add change",
            "cabinetunit": "add change",
            "cabinetcheck": "add change",
            "purchase": "add change",
            "sparepart": "add change",
            "stockentry": "add",
            "failurereport": "add change",
            "downspell": "add change",
            "visitphoto": "add change",
            "renewalsettings": "add change",
            "technologymoney": "add change delete",
            "technologyprofile": "add change delete",
            "hazardeffect": "add change delete",
            "pavementwork": "add change delete",
            "laneuse": "add change delete",
            "roadsidesend": "add change",
        },
        "quality": {
            "checklimit": "add change delete",
            "recordsettings": "add change",
            "driftepisode": "add change",
            "backcorrection": "add change",
            "reviewquestion": "add change",
            "recordreplacement": "add change",
            "savedmapping": "add change delete",
            "stationdescription": "add change",
            "apikey": "add change",
            "reportissue": "add",
            "reportjob": "add change",
        },
    },
    "technician": {
        "installs": {
            "workitem": "add change",
            "trip": "add change",
            "preventivedone": "add change",
            "cabinetunit": "add change",
            "cabinetcheck": "add change",
            "stockentry": "add",
            "failurereport": "add change",
            "downspell": "add change",
            "visitphoto": "add change",
            "roadsidesend": "add change",
        },
    },
    "analyst": {
        "installs": {"workitem": "add change"},
        "quality": {
            "checklimit": "add change delete",
            "driftepisode": "add change",
            "backcorrection": "add change",
            "reviewquestion": "add change",
            "recordreplacement": "add change",
            "savedmapping": "add change delete",
            "stationdescription": "add change",
            "apikey": "add change",
            "reportissue": "add",
            "reportjob": "add change",
        },
    },
}


def add_permissions(apps, schema_editor):
    """Give the groups their new permissions (safe to repeat)."""
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    for label in ("installs", "quality"):
        config = apps.get_app_config(label)
        config.models_module = True
        create_permissions(config, apps=apps, verbosity=0)
        config.models_module = None
        ours = Permission.objects.filter(content_type__app_label=label)
        for name in ("program manager", "technician", "analyst", "guest"):
            group, _ = Group.objects.get_or_create(name=name)
            seen = ours.filter(codename__startswith="view_")
            group.permissions.add(*seen.exclude(codename="view_apikey"))
            for model, verbs in WRITES.get(name, {}).get(label, {}).items():
                codenames = [f"{verb}_{model}" for verb in verbs.split()]
                if model == "apikey":
                    codenames.append("view_apikey")
                group.permissions.add(*ours.filter(codename__in=codenames))


class Migration(migrations.Migration):
    dependencies = [
        ("quality", "0007_judged_records"),
        ("installs", "0003_upkeep_and_renewal"),
    ]

    operations = [migrations.RunPython(add_permissions, migrations.RunPython.noop)]
