"""Photos of visits: added, shown, struck out."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from installs.forms.visits import VisitPhotoForm
from installs.models import MaintenanceVisit, VisitPhoto
from installs.selectors.visits import sensors_of_site
from installs.services.visit_photos import visit_photo_add, visit_photo_strike
from installs.views.photos import picture_answer, strike_page
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs


@needs("installs.add_visitphoto")
@require_POST
def photo_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a picture in; refused in words when it is none."""
    visit = get_object_or_404(
        MaintenanceVisit.objects.select_related("wim_site"), pk=pk
    )
    form = VisitPhotoForm(
        request.POST, request.FILES, sensors=sensors_of_site(visit.wim_site)
    )
    trouble = [str(one) for found in form.errors.values() for one in found]
    if not trouble:
        found = form.cleaned_data
        upload = found.pop("photo")
        try:
            visit_photo_add(
                visit=visit, upload=upload, name=upload.name, by=request.user, **found
            )
            messages.success(request, "The photo is kept.")
        except DomainError as error:
            trouble = [error.message]
    for message in trouble:
        messages.error(request, f"Photo: {message}")
    return redirect(f"{visit.get_absolute_url()}#photos")


@needs("installs.view_visitphoto")
@require_safe
def photo_file(request: HttpRequest, pk: int, size: str) -> HttpResponse:
    """The picture or its thumbnail, to those who may see it."""
    return picture_answer(VisitPhoto, pk, size, name="visit-photo")


@needs("installs.change_visitphoto")
@form_page
def photo_strike(request: HttpRequest, pk: int) -> HttpResponse:
    """Strike a photo out, with a reason; it stays."""
    photo = get_object_or_404(VisitPhoto.objects.select_related("visit"), pk=pk)
    return strike_page(
        request,
        lambda reason: visit_photo_strike(photo=photo, reason=reason, by=request.user),
        back=f"{photo.visit.get_absolute_url()}#photos",
        picture=reverse("installs:visit-photo-file", args=[photo.pk, "thumbnail"]),
    )
