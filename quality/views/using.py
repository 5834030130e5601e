"""Pages of what lanes carried, and the files taken from them."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render

from quality.forms.using import TrafficForm, TrafficYearForm
from quality.selectors.corrections import corrections_used
from quality.selectors.program_traffic import program_traffic
from quality.selectors.using import Asked, LaneCarried, lane_carried, last_year_of
from quality.services import exporting
from quality.services.exporting import RecordForm
from quality.traffic_page import traffic_page
from sites.models import Lane
from wimprog.lib import clock
from wimprog.lib.tables import export_rows
from wimprog.lib.units import Kind, UnitSystem, shown_unit
from wimprog.lib.web import attachment, needs, try_service, unit_system

METRIC_GROSS_STEP_KG = 1_000.0


def _form(request: HttpRequest) -> TrafficForm:
    data = request.GET if "place" in request.GET else None
    return TrafficForm(data, may_correct=corrections_used())


def _step(request: HttpRequest) -> float | None:
    """Bins of gross weight that are round in the program's unit."""
    system = UnitSystem(unit_system(request))
    return METRIC_GROSS_STEP_KG if system is UnitSystem.SI else None


def _answer(request: HttpRequest, form: TrafficForm) -> LaneCarried | None:
    if not form.is_valid():
        return None
    asked = form.cleaned_data["asked"]
    found: LaneCarried | None = try_service(
        form, lambda: lane_carried(asked, gross_step_kg=_step(request))
    )
    return found


def _query(asked: Asked, form: TrafficForm) -> str:
    """The question as an address, with the days that an open one came to."""
    data = form.cleaned_data
    facts: dict[str, Any] = {
        "place": data["place"], "first": asked.first_on, "last": asked.last_on,
    }  # fmt: skip
    facts |= {key: data[key] for key in ("vehicles", "axles") if data.get(key)}
    facts |= {key: "on" for key in ("undecided", "corrected") if data.get(key)}
    return urlencode(facts)


@needs("quality.view_laneday")
def traffic(request: HttpRequest) -> HttpResponse:
    """What a lane, or all lanes of a site, carried."""
    from quality.calc.carried_frames import TABLES

    form = _form(request)
    answer = _answer(request, form)
    context: dict[str, Any] = {"form": form, "answer": answer}
    context["may_correct"] = corrections_used()
    if answer is not None:
        context["query"] = _query(answer.asked, form)
        context["tables"], context["record_forms"] = TABLES, list(RecordForm)
    if answer is not None and answer.year is not None:
        context |= traffic_page(
            answer, answer.year, vehicle_class=form.vehicle_class,
            axle_kind=form.axle_kind, system=UnitSystem(unit_system(request)),
        )  # fmt: skip
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "quality/traffic_lane.html", context, status=status)


def _name(asked: Asked, what: str) -> str:
    lanes = asked.lanes
    label = f"-{lanes[0].label}" if len(lanes) == 1 else ""
    code = lanes[0].wim_site.code
    return f"{what}-{code}{label}-{asked.first_on}-{asked.last_on}"


@needs("quality.view_laneday")
def traffic_sheet(request: HttpRequest) -> HttpResponse:
    """The tables behind the page: one as CSV or Parquet, all as XLSX."""
    from quality.calc.carried_frames import TABLES, frame_of

    form = _form(request)
    answer = _answer(request, form)
    if answer is None or answer.year is None:
        return _refused(request, form, "No day of that period is counted.")
    name, fmt = request.GET.get("table", "daily"), request.GET.get("as", "xlsx")
    if fmt == "xlsx":
        year = answer.year
        content = exporting.tables_xlsx(
            {key: frame_of(key, year) for key in TABLES},
            notes=exporting.notes_of(answer), as_of=answer.asked.last_on,
        )  # fmt: skip
        kind = exporting.XLSX
        return attachment(
            content, name=_name(answer.asked, "traffic") + ".xlsx", content_type=kind
        )
    write = {"csv": exporting.table_csv, "parquet": exporting.table_parquet}.get(fmt)
    if write is None or name not in TABLES:
        raise Http404("There is no such table.")
    form_of = RecordForm(fmt)
    return attachment(
        write(frame_of(name, answer.year)),
        name=f"{_name(answer.asked, name)}.{fmt}",
        content_type=form_of.content_type,
    )


def _refused(request: HttpRequest, form: TrafficForm, why: str) -> HttpResponse:
    if form.is_bound and not form.errors:
        form.add_error(None, why)
    context = {"form": form, "answer": None, "may_correct": corrections_used()}
    return render(request, "quality/traffic_lane.html", context, status=422)


@needs("quality.view_laneday", "quality.view_recordpart")
def traffic_records(request: HttpRequest) -> Any:
    """The vehicle records behind the page, streamed."""
    form = _form(request)
    try:
        how = RecordForm(request.GET.get("as", ""))
    except ValueError:
        raise Http404("Records are not written out in that form.") from None
    chunks = None
    if form.is_valid():
        asked = form.cleaned_data["asked"]
        chunks = try_service(form, lambda: exporting.records_out(asked, how))
    if chunks is None:
        return _refused(request, form, "Choose a lane or a site.")
    response = StreamingHttpResponse(chunks, content_type=how.content_type)
    name = f"{_name(asked, 'records')}.{how.ending}"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _latest_year() -> int:
    latest = last_year_of(Lane.objects.all())
    return latest[0].year if latest else clock.today().year


@needs("quality.view_laneday", "quality.view_dailysummary")
def traffic_program(request: HttpRequest) -> HttpResponse:
    """What all lanes of the program carried in a year."""
    form = TrafficYearForm(request.GET)
    form.is_valid()
    year = form.cleaned_data.get("year") or _latest_year()
    with_undecided = bool(form.cleaned_data.get("undecided"))
    totals = program_traffic(year, with_undecided=with_undecided)
    if request.GET.get("as") in ("csv", "xlsx"):
        return export_rows(
            name=f"traffic-{year}", fmt=request.GET["as"],
            headings=totals.headings, rows=totals.as_rows(), note=totals.rule,
        )  # fmt: skip
    mass = shown_unit(Kind.MASS, UnitSystem(unit_system(request)))
    context = {"totals": totals, "year": year, "with_undecided": with_undecided}
    context |= {"form": form, "mass": mass}
    return render(request, "quality/traffic_program.html", context)
