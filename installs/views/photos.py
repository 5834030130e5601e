"""Photos of a record: added, shown, struck out."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from installs import services
from installs.forms import PhotoForm, StrikeForm
from installs.models import KeptPicture, Photo
from installs.views.common import show_form
from installs.views.records import record_or_404
from installs.views.stages import item_fragment, item_or_404, url_of_item
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs, try_service

SIZES = ("picture", "thumbnail")


@needs("installs.add_photo")
@require_POST
def photo_add(request: HttpRequest, pk: int, item: int) -> HttpResponse:
    """Take a picture in; refused in words when it is none."""
    record = record_or_404(pk)
    asked = item_or_404(record, item)
    form = PhotoForm(request.POST, request.FILES)
    trouble: list[str] = []
    if form.is_valid():
        try:
            services.photo_add(
                record=record,
                item=asked,
                client_id=form.cleaned_data["client_id"] or uuid.uuid4(),
                upload=form.cleaned_data["photo"],
                name=form.cleaned_data["photo"].name,
                caption=form.cleaned_data["caption"],
                by=request.user,
            )
        except DomainError as error:
            trouble = [error.message]
    else:
        trouble = [str(one) for found in form.errors.values() for one in found]
    if request.headers.get("X-Answer") == "fragment":
        return item_fragment(request, record, asked, trouble)
    for message in trouble:
        messages.error(request, f"{asked.prompt}: {message}")
    return redirect(url_of_item(record, asked))


@needs("installs.view_photo")
@require_safe
def photo_file(request: HttpRequest, pk: int, size: str) -> HttpResponse:
    """The picture or its thumbnail, to those who may see it."""
    return picture_answer(Photo, pk, size, name="photo")


def picture_answer(
    kind: type[KeptPicture], pk: int, size: str, *, name: str
) -> HttpResponse:
    """A kept picture's file; the caller has asked for the permission."""
    if size not in SIZES:
        raise Http404("picture or thumbnail")
    photo = get_object_or_404(kind, pk=pk)
    path = Path(settings.UPLOAD_DIR) / getattr(photo, size)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise Http404("the picture's file is missing") from None
    answer = HttpResponse(content, content_type="image/jpeg")
    answer["Cache-Control"] = "private, max-age=86400, immutable"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Disposition"] = f'inline; filename="{name}-{photo.pk}.jpg"'
    return answer


@needs("installs.change_photo")
@form_page
def photo_strike(request: HttpRequest, pk: int) -> HttpResponse:
    """Strike a photo out, with a reason; it stays."""
    photo = get_object_or_404(
        Photo.objects.select_related("record__lane__wim_site", "item__stage"), pk=pk
    )
    return strike_page(
        request,
        lambda reason: services.photo_strike(
            photo=photo, reason=reason, by=request.user
        ),
        back=url_of_item(photo.record, photo.item),
        picture=reverse("installs:photo-file", args=[photo.pk, "thumbnail"]),
    )


def strike_page(
    request: HttpRequest,
    strike: Callable[[str], KeptPicture],
    *,
    back: str,
    picture: str,
) -> HttpResponse:
    """Ask why a picture is struck out, and let ``strike`` do it."""
    form = StrikeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kept = try_service(form, lambda: strike(form.cleaned_data["reason"]))
        if kept:
            messages.success(request, "The photo is struck out.")
            return redirect(back)
    return show_form(
        request, form, title="Strike a photo out", back=back, picture=picture
    )
