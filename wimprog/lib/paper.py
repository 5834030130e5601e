"""Papers: data and pictures set as a tagged PDF (PDF/UA-1) by a page template.

A template computes nothing and gets everything as data, so that no text of a user ever
becomes markup. Pictures carry their text; the page setter refuses one that has none.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typst

from wimprog.lib.units import UnitSystem

PDF = "application/pdf"


def paper_size(system: str) -> str:
    """The paper that a program of this unit system prints on."""
    return "us-letter" if system == UnitSystem.US else "a4"


def set_pdf(
    template: Path, data: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Set ``template`` with ``data``; ``pictures`` are files it may name.

    Parameters
    ----------
    template
        A Typst file that reads ``sys.inputs.data`` as JSON.
    data
        JSON-ready values.
    pictures
        Contents by plain file name ("plan.svg").
    """
    with tempfile.TemporaryDirectory(prefix="wimprog-paper-") as folder:
        root = Path(folder)
        (root / template.name).write_bytes(template.read_bytes())
        for name, content in (pictures or {}).items():
            (root / Path(name).name).write_bytes(content)
        return bytes(
            typst.compile(
                str(root / template.name),
                root=str(root),
                format="pdf",
                sys_inputs={"data": json.dumps(data)},
                pdf_standards=["ua-1"],
            )
        )
