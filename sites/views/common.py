"""What the views of this app share."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.views.decorators.http import require_http_methods

form_page = require_http_methods(["GET", "HEAD", "POST"])


def unit_system(request: HttpRequest) -> str:
    """The unit system that this program shows."""
    return str(request.program.unit_system)  # type: ignore[attr-defined]


def form_status(form: Any) -> int:
    """422 for a form sent back, so that scripts and tests can tell."""
    return 422 if form.is_bound and form.errors else 200
