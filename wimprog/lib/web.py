"""Small pieces that every app's views share."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required, permission_required
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_http_methods

from wimprog.lib.errors import DomainError

View = Callable[..., HttpResponse]

#: A page that shows a form and takes it back.
form_page = require_http_methods(["GET", "HEAD", "POST"])


def needs(*permissions: str) -> Callable[[View], View]:
    """Ask for sign-in, then for every one of the permissions (403 without them)."""

    def decorate(view: View) -> View:
        guarded = permission_required(permissions, raise_exception=True)(view)
        guarded = login_required(guarded)
        wraps(view)(guarded)
        guarded.needed_permissions = permissions  # type: ignore[attr-defined]
        return guarded

    return decorate


def unit_system(request: HttpRequest) -> str:
    """The unit system that this program shows."""
    return str(request.program.unit_system)  # type: ignore[attr-defined]


def form_status(form: Any) -> int:
    """422 for a form sent back, so that scripts and tests can tell."""
    return 422 if form.is_bound and form.errors else 200


def try_service(form: BaseForm, call: Callable[[], Any]) -> Any | None:
    """Run a service call; put what it refuses into the form, in its own words.

    Returns the call's result, or None when it was refused.
    """
    try:
        return call()
    except DomainError as error:
        form.add_error(None, error.message)
        for complaint in error.complaints:
            form.add_error(None, str(complaint))
    except ValidationError as error:
        if hasattr(error, "error_dict"):
            for name, errors in error.message_dict.items():
                form.add_error(name if name in form.fields else None, errors)
        else:
            form.add_error(None, error.messages)
    return None


def attachment(
    content: bytes | str | Iterable[bytes], *, name: str, content_type: str
) -> HttpResponse:
    """A download with a safe file name."""
    response = HttpResponse(content, content_type=content_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def is_fragment(request: HttpRequest) -> bool:
    """Does the caller want the piece, not the page (and is not restoring history)?"""
    htmx = getattr(request, "htmx", None)
    return htmx is not None and bool(htmx) and not htmx.history_restore_request


def vary_on_fragment(response: HttpResponse) -> HttpResponse:
    """Mark a response that is sometimes a page and sometimes a piece of it."""
    patch_vary_headers(response, ["HX-Request"])
    return response
