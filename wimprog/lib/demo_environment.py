"""The demo's own surroundings: its database file, its store, its secret, its clock.

Set before Django reads its settings, and only where nothing was set by hand, so that
`manage.py demo` can never write into the agency's database unless it is told to.
"""

from __future__ import annotations

import datetime as dt
import json
import secrets
from collections.abc import MutableMapping, Sequence
from pathlib import Path

DEMO_DIR = Path(__file__).resolve().parents[2] / "var" / "demo"


def demo_dir(arguments: Sequence[str]) -> Path:
    """The folder of the demo that these command-line arguments name."""
    name = "small" if "--small" in arguments else "full"
    return DEMO_DIR / name


def prepare(environ: MutableMapping[str, str], arguments: Sequence[str]) -> None:
    """Fill in what the demo needs and the environment does not already say."""
    folder = demo_dir(arguments)
    folder.mkdir(parents=True, exist_ok=True)
    environ.setdefault("DATABASE_URL", f"sqlite:///{folder / 'demo.sqlite3'}")
    environ.setdefault("WIMPROG_STORE", str(folder / "records"))
    environ.setdefault("WIMPROG_UPLOADS", str(folder / "uploads"))
    environ.setdefault("WIMPROG_ALLOWED_HOSTS", "127.0.0.1,localhost,[::1]")
    environ.setdefault("WIMPROG_INSECURE_COOKIES", "on")
    environ.setdefault("WIMPROG_IS_DEMO", "on")
    secret = folder / "secret"
    if not secret.exists():
        secret.write_text(secrets.token_urlsafe(50))
        secret.chmod(0o600)
    environ.setdefault("WIMPROG_SECRET_KEY", secret.read_text())
    facts = folder / "demo.json"
    if facts.exists():
        as_of = json.loads(facts.read_text()).get("as_of", "")
        if as_of and dt.date.fromisoformat(as_of):
            environ.setdefault("WIMPROG_AS_OF", as_of)
