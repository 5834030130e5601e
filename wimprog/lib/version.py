"""The product's version, for pages and papers."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

PROJECT_FILE = Path(__file__).resolve().parents[2] / "pyproject.toml"


@cache
def version() -> str:
    """The product's version, as pyproject.toml states it."""
    project = tomllib.loads(PROJECT_FILE.read_text(encoding="utf-8"))["project"]
    return str(project["version"])
