"""A real browser against a live server. Debian's chromium; no browser download."""

import os
import shutil
from importlib import import_module

import pytest
from django.apps import apps

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no chromium on this machine: install Debian's package chromium")
    return {
        **browser_type_launch_args,
        "executable_path": path,
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
        ],
    }


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return {**browser_context_args, "viewport": {"width": 1280, "height": 900}}


def make_roles() -> None:
    """The groups with all their permissions; a flush between tests takes them away."""
    for name in (
        "0002_roles",
        "0003_roles_of_installing",
        "0004_roles_of_surveys",
        "0005_roles_of_calibrating",
        "0006_roles_of_survey_settings",
        "0008_roles_of_upkeep_and_records",
    ):
        module = import_module(f"quality.migrations.{name}")
        for step in module.Migration.operations:
            step.code(apps, None)
