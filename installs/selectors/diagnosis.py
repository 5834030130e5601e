"""What a sensor's tests point to, with those of the sensors tested beside it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from statistics import median
from zoneinfo import ZoneInfo

from installs.calc.types import (
    DatedReading,
    ElectricalQuantity,
    ElectricalTrend,
    Technology,
)
from installs.calc.types.diagnosis import (
    Diagnosis,
    InstrumentFacts,
    PeerReading,
    SensorEvidence,
)
from installs.models import ElectricalTest, Installation, Reading

#: What each sensor read before is looked up this far back.
BEFORE = dt.timedelta(days=2 * 365)


def installation_diagnosis(
    installation: Installation,
    *,
    tests: Sequence[ElectricalTest],
    complete_stages: Sequence[str],
    readings: Mapping[ElectricalQuantity, tuple[DatedReading, ...]],
    trends: Mapping[ElectricalQuantity, ElectricalTrend],
    data_sheet: Mapping[ElectricalQuantity, float],
) -> Diagnosis:
    """Diagnose one installation, in two queries.

    Parameters
    ----------
    tests
        All its tests in the order of time, with their readings loaded.
    complete_stages
        Stages at which the lead-in is on.
    readings, trends
        Of those stages, by quantity, as they are to be held against each other.
    data_sheet
        The sensor's own.
    """
    from installs.calc.diagnosis import diagnose

    complete = [test for test in tests if test.stage in complete_stages]
    latest = complete[-1] if complete else None
    return diagnose(
        SensorEvidence(
            technology=Technology(installation.sensor.model.technology),
            readings=readings,
            bench=_bench(installation, tests, complete_stages),
            data_sheet=data_sheet,
            trends=trends,
            peers=_peers(installation, latest, complete_stages) if latest else (),
            instrument=_instrument(installation, latest) if latest else None,
        )
    )


def _zone(installation: Installation) -> ZoneInfo:
    return ZoneInfo(installation.lane.wim_site.time_zone)


def _bench(
    installation: Installation,
    tests: Sequence[ElectricalTest],
    complete_stages: Sequence[str],
) -> dict[ElectricalQuantity, DatedReading]:
    """The latest reading of each quantity before the lead-in was on."""
    zone = _zone(installation)
    found = {}
    for test in tests:
        if test.stage in complete_stages:
            continue
        on = test.tested_at.astimezone(zone).date()
        for one in test.readings.all():
            found[ElectricalQuantity(one.quantity)] = DatedReading(
                on, one.value, one.over_range, test.pavement_temp_c
            )
    return found


def _instrument(
    installation: Installation, latest: ElectricalTest
) -> InstrumentFacts | None:
    used = latest.instrument_used
    if used is None and not latest.instrument:
        return None
    return InstrumentFacts(
        name=str(used) if used else latest.instrument,
        used_on=latest.tested_at.astimezone(_zone(installation)).date(),
        calibrated_until=used.calibration_due_on if used else None,
    )


def _peers(
    installation: Installation,
    latest: ElectricalTest,
    complete_stages: Sequence[str],
) -> tuple[PeerReading, ...]:
    """Readings of that day with that instrument at the site, and those before them."""
    zone = _zone(installation)
    day = latest.tested_at.astimezone(zone).date()
    start = dt.datetime.combine(day, dt.time(), tzinfo=zone)
    of_site = Reading.objects.filter(
        test__installation__lane__wim_site_id=installation.lane.wim_site_id,
        test__stage__in=list(complete_stages),
    )
    that_day = of_site.filter(
        test__tested_at__gte=start,
        test__tested_at__lt=start + dt.timedelta(days=1),
        test__instrument=latest.instrument,
        test__instrument_used=latest.instrument_used,
    ).order_by("test__tested_at")
    rows = {
        (pk, quantity): (serial, value, over)
        for pk, serial, quantity, value, over in that_day.values_list(
            "test__installation_id",
            "test__installation__sensor__serial",
            "quantity",
            "value",
            "over_range",
        )
    }
    before: dict[tuple[int, str], list[float]] = defaultdict(list)
    for pk, quantity, value in of_site.filter(
        test__installation_id__in={pk for pk, _ in rows},
        test__tested_at__lt=start,
        test__tested_at__gte=start - BEFORE,
        over_range=False,
    ).values_list("test__installation_id", "quantity", "value"):
        before[pk, quantity].append(value)
    return tuple(
        PeerReading(
            sensor=serial,
            quantity=ElectricalQuantity(quantity),
            value=value,
            over_range=over,
            before=median(before[pk, quantity]) if before[pk, quantity] else None,
        )
        for (pk, quantity), (serial, value, over) in rows.items()
    )
