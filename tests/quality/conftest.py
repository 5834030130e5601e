"""A store of its own for each test, and the sample files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "fixtures" / "samples"
INPUTS = ROOT.parent / "shared" / "inputs"


@pytest.fixture
def store(tmp_path: Path, settings: Any) -> Path:
    """An empty record store; uploads go beside it."""
    settings.RECORD_STORE = tmp_path / "records"
    settings.UPLOAD_DIR = tmp_path / "uploads"
    return settings.RECORD_STORE


@pytest.fixture
def inputs() -> Path:
    """The files to try, where they are at hand."""
    if not INPUTS.is_dir():
        pytest.skip("../shared/inputs is not here")
    return INPUTS
