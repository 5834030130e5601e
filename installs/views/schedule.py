"""Preventive work: the rules, and where each stands at each site."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from django_tables2 import RequestConfig

from installs.calc.upkeep.schedule import season_text
from installs.calc.upkeep.seen_conditions import understood
from installs.forms.work import PreventiveDoneForm, PreventiveRuleForm, SiteChoice
from installs.models import PreventiveRule
from installs.selectors.work_schedule import schedule_rows
from installs.services.preventive import preventive_done, rule_save, rules_start
from installs.tables.work import ScheduleTable
from installs.views.common import show_form
from installs.views.work import today_of
from sites.models import Site
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.web import form_page, needs, try_service, unit_system


@needs("installs.view_preventiverule")
@require_safe
def rule_list(request: HttpRequest) -> HttpResponse:
    """The rules of preventive work."""
    rules = PreventiveRule.objects.order_by("-is_in_use", "name", "technology", "part")
    rows = [
        {
            "rule": one,
            "season": season_text(one.season_months),
            "seen": understood(one.condition) if one.condition else None,
        }
        for one in rules
    ]
    return render(request, "installs/rule_list.html", {"rows": rows})


@needs("installs.add_preventiverule")
@require_POST
def rules_seed(request: HttpRequest) -> HttpResponse:
    """Take the starting set of rules in; those that are there stay as they are."""
    try:
        n = rules_start(by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{n} rules were added; change them to your own.")
    return redirect("installs:rule-list")


@needs("installs.add_preventiverule")
@form_page
def rule_add(request: HttpRequest) -> HttpResponse:
    """Write a rule."""
    return _rule_form(request, PreventiveRule(), title="Add a preventive rule")


@needs("installs.change_preventiverule")
@form_page
def rule_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a rule, or take it out of use."""
    rule = get_object_or_404(PreventiveRule, pk=pk)
    return _rule_form(request, rule, title=f"Change “{rule}”")


def _rule_form(
    request: HttpRequest, rule: PreventiveRule, *, title: str
) -> HttpResponse:
    form = PreventiveRuleForm(
        request.POST or None, instance=rule, system=unit_system(request)
    )
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: rule_save(
                rule=form.save(commit=False), by=request.user, why=form.reason
            ),
        )
        if kept:
            messages.success(request, f"“{kept}” is kept.")
            return redirect("installs:rule-list")
    back = reverse("installs:rule-list")
    return show_form(request, form, title=title, back=back)


@needs("installs.view_preventiverule")
@require_safe
def rule_schedule(request: HttpRequest) -> HttpResponse:
    """When preventive work is next due, by site and rule."""
    form = SiteChoice(request.GET or None)
    form.fields["site"].required = False
    chosen = form.cleaned_data["site"] if form.is_valid() else None
    rows = schedule_rows(today_of(request), sites=[chosen] if chosen else None)
    table = ScheduleTable(rows)
    RequestConfig(request, paginate={"per_page": 25}).configure(table)
    context = {"form": form, "table": table, "chosen": chosen, "rows": rows}
    return render(request, "installs/rule_schedule.html", context)


@needs("installs.add_preventivedone")
@form_page
def rule_done(request: HttpRequest, pk: int, code: str) -> HttpResponse:
    """Note that a rule's work was done at a site, outside any work item."""
    rule, wim_site = (
        get_object_or_404(PreventiveRule, pk=pk),
        get_object_or_404(Site, code=code),
    )
    if not rule.is_in_use:
        raise Http404("The rule is not in use.")
    today = clock.today(wim_site.time_zone)
    form = PreventiveDoneForm(request.POST or None, initial={"done_on": today})
    if request.method == "POST" and form.is_valid():
        kept = try_service(
            form,
            lambda: preventive_done(
                rule=rule, wim_site=wim_site, by=request.user, **form.cleaned_data
            ),
        )
        if kept:
            messages.success(request, f"Noted: {kept}.")
            return redirect(f"{reverse('installs:rule-schedule')}?site={wim_site.code}")
    back = f"{reverse('installs:rule-schedule')}?site={wim_site.code}"
    return show_form(request, form, title=f"{rule} at {wim_site.code}", back=back)
