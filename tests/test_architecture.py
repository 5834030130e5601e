"""The house keeps its shape: one direction between apps, no unwelcome neighbours."""

from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings

ORDER = ["sites", "installs", "calibration", "quality"]
ROOT = Path(settings.BASE_DIR)


def our_models():
    return [m for m in apps.get_models() if m._meta.app_label in ORDER]


@pytest.mark.parametrize("model", our_models(), ids=lambda m: m._meta.label)
def test_foreign_keys_point_downward(model):
    here = ORDER.index(model._meta.app_label)
    for field in model._meta.get_fields():
        if field.is_relation and field.concrete and field.related_model:
            label = field.related_model._meta.app_label
            if label in ORDER:
                assert ORDER.index(label) <= here, f"{field} points upward"


def test_every_fact_is_kept_with_its_history():
    from wimprog.lib.models import Fact

    facts = [m for m in our_models() if issubclass(m, Fact)]
    assert len(facts) >= 12
    for model in facts:
        if model.__name__.startswith("Historical"):
            continue
        assert hasattr(model, "history"), model


def test_the_framework_app_of_the_same_label_is_absent():
    # its label would meet our app `sites`
    assert "django.contrib.sites" not in settings.INSTALLED_APPS
    assert not hasattr(settings, "SITE_ID")


def test_pure_computation_names_no_framework():
    for folder in (
        "sites/calc",
        "installs/calc",
        "calibration/calc",
        "quality/calc",
        "quality/records",
    ):
        for path in sorted((ROOT / folder).rglob("*.py")):
            text = path.read_text()
            assert "import django" not in text, path
            assert "from django" not in text, path


def test_the_top_level_is_the_agreed_one():
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "requirements.txt",
        "pyproject.toml",
        "wimprog",
        "sites",
        "installs",
        "calibration",
        "quality",
        "tests",
        "fixtures",
        "var",
        "staticfiles",
        "htmlcov",
        "test-results",
    }
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found <= allowed, found - allowed
