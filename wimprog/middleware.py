"""What every page knows: the program's settings."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from sites.selectors import program_get


class ProgramMiddleware:
    """Put the program's settings on the request, read once and only when needed."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.program = SimpleLazyObject(program_get)  # type: ignore[attr-defined]
        return self.get_response(request)
