"""The roadside page: find a site, see what was last done, log what is done now."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from installs import cautions, selectors
from installs.forms import RoadsideSearch
from installs.selectors.visits import waiting_at
from wimprog.lib.web import needs

SITES_A_PAGE = 12


@needs("installs.view_installation", "installs.view_maintenancevisit")
@require_safe
def roadside(request: HttpRequest) -> HttpResponse:
    """Without a site: the search. With one (or one found): its lanes and buttons."""
    form = RoadsideSearch(request.GET)
    q = form.cleaned_data["q"] if form.is_valid() else ""
    code = request.GET.get("site", "")
    found = selectors.sites_at_roadside(q)
    page = Paginator(found, SITES_A_PAGE).get_page(request.GET.get("page"))
    chosen = selectors.sites_at_roadside().filter(code=code).first() if code else None
    if chosen is None and q and page.paginator.count == 1:
        chosen = page.object_list[0]
    context = {
        "form": form,
        "q": q,
        "asked": code,
        "page": page,
        "chosen": chosen,
        "cautions": cautions.ANY_VISIT,
    }
    if chosen is not None:
        context["lanes"] = selectors.lanes_at_roadside(chosen)
        context["waits"] = waiting_at(chosen)
        context["last_visit"] = selectors.visit_list([chosen.code]).first()
    return render(request, "installs/roadside.html", context)
