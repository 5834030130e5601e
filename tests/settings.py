"""The product's settings with a throw-away store, quick hashing and immediate tasks."""

import os
import tempfile
from pathlib import Path

_SCRATCH = Path(tempfile.mkdtemp(prefix="wimprog-tests-"))
os.environ.setdefault("WIMPROG_SECRET_KEY", "tests-only")
os.environ.setdefault("WIMPROG_INSECURE_COOKIES", "on")
os.environ.setdefault("DATABASE_URL", f"sqlite:///{_SCRATCH / 'tests.sqlite3'}")
os.environ["WIMPROG_STORE"] = str(_SCRATCH / "records")
os.environ["WIMPROG_UPLOADS"] = str(_SCRATCH / "uploads")
os.environ["WIMPROG_AS_OF"] = ""

from wimprog.settings import *  # noqa: E402, F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
AXES_ENABLED = False
LOGGING = {"version": 1, "disable_existing_loggers": False}
