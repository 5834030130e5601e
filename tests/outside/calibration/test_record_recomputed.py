"""Every number of a session's results, computed again from its exported file alone.

The reference is bare numpy and scipy (scipy.stats: t, binomtest, ttest_ind) on what the
files hold; nothing of the program's own computing is imported. The rules recomputed:
difference 100 (C − R)/R (ASTM E1318-09, section 7; from memory); Student interval
(NIST/SEMATECH e-Handbook 1.3.5.2); exact binomial interval (7.2.4.1); ratio of sums
(Cochran 1977, 6.4; from memory). One foot is 0.3048 m, one mile 1.609344 km (NIST SP
811, appendix B.8).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections import defaultdict

import numpy as np
import openpyxl
import pytest
from django.urls import reverse
from scipy import stats

from tests.calibration.record_world import whole_session

pytestmark = pytest.mark.django_db

FT, MILE_KM = 0.3048, 1.609344
GROUP_FT = 8.0
E1318_TYPE_I = {"gross weight": 10.0, "axle group": 15.0, "axle": 20.0}
"""Tolerances of Type I [%]: FHWA, Traffic Monitoring Guide (2022), table D-1."""
WEIGHTS = (
    "gross weight",
    "axle group",
    "single axle",
    "steering axle",
    "axle of a group",
    "axle",
)


@pytest.fixture
def files(program, technician, guest, client_for):
    """The downloads of one session, as anybody may take them."""
    session = whole_session(technician)
    client = client_for(guest)

    def get(name, *more):
        address = reverse(f"calibration:{name}", args=[session.pk, *more])
        answer = client.get(address)
        assert answer.status_code == 200
        return answer.content

    book = openpyxl.load_workbook(io.BytesIO(get("session-file", "xlsx")))
    return {
        "book": book,
        "csv": get("session-export", "runs", "csv").decode("utf-8-sig"),
        "json": json.loads(get("session-file", "json")),
        "pdf": session,
    }


def rows_of(book, sheet):
    """A sheet's rows as mappings by heading."""
    headings, *rows = book[sheet].iter_rows(values_only=True)
    return [dict(zip(headings, row, strict=True)) for row in rows]


def numbers(row, start):
    """A run's columns such as "axle 1 lb", "axle 2 lb", in order; empty ones left."""
    found = [
        (int(match[1]), row[name])
        for name in row
        if (match := re.fullmatch(rf"{start} (\d+) (?:lb|ft)", str(name)))
        and row[name] not in (None, "")
    ]
    return np.array([float(value) for _, value in sorted(found)])


def errors_of(rows):
    """Errors of runs in use by stage and quantity, with the vehicle of each."""
    found = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if row["set aside"] == "yes":
            continue
        own = found[row["stage"]]
        lane, static = numbers(row, "axle"), numbers(row, "static axle")
        apart = numbers(row, "static spacing")
        vehicle = row["vehicle"]

        def weight(quantity, axles, own=own, lane=lane, static=static, who=vehicle):
            c, r = lane[axles].sum(), static[axles].sum()
            own[quantity].append((100.0 * (c - r) / r, who, c, r))

        groups = [[0]]
        for axle, gap in enumerate(apart, start=1):
            if gap <= GROUP_FT:
                groups[-1].append(axle)
            else:
                groups.append([axle])
        weight("gross weight", list(range(lane.size)))
        weight("steering axle", [0])
        for group in groups:
            weight("axle group" if len(group) > 1 else "single axle", group)
            for axle in group:
                weight("axle", [axle])
                if len(group) > 1:
                    weight("axle of a group", [axle])
        seen = numbers(row, "spacing")
        for c, r in zip(seen * FT, apart * FT, strict=True):
            own["axle spacing"].append((c - r, vehicle, c, r))
        own["wheelbase"].append((FT * (seen.sum() - apart.sum()), vehicle, 0, 0))
        c, r = float(row["speed mph"]), float(row["reference speed mph"])
        own["speed"].append((MILE_KM * (c - r), vehicle, c, r))
    return found


def values(found, vehicle=None):
    return np.array([one[0] for one in found if vehicle in (None, one[1])])


def t_ends(x, *, of_mean):
    half = stats.t.ppf(0.975, x.size - 1) * x.std(ddof=1)
    half = half / np.sqrt(x.size) if of_mean else half
    return x.mean() - half, x.mean() + half


def close(found, wanted):
    return found == pytest.approx(wanted, rel=1e-6, abs=1e-6)


def test_results_from_the_runs_of_the_workbook(files):
    own = errors_of(rows_of(files["book"], "Runs"))
    results = rows_of(files["book"], "Results")
    checked = 0
    for row in results:
        found = own[row["stage"]][row["quantity"]]
        vehicle = row["of"] if row["of"] in {one[1] for one in found} else None
        x = values(found, vehicle)
        assert row["n"] == x.size
        if not x.size:
            assert row["mean"] is None
            continue
        assert close(row["mean"], x.mean())
        assert close(row["sd"], x.std(ddof=1))
        assert close((row["mean low"], row["mean high"]), t_ends(x, of_mean=True))
        assert close(
            (row["single pass low"], row["single pass high"]), t_ends(x, of_mean=False)
        )
        if row["tolerance"] is not None:
            n_within = int((np.abs(x) <= row["tolerance"] + 1e-9).sum())
            exact = stats.binomtest(n_within, x.size).proportion_ci(0.95, "exact")
            assert row["n within"] == n_within
            assert close(row["share %"], 100.0 * n_within / x.size)
            assert close(
                (row["share low %"], row["share high %"]),
                (100.0 * exact.low, 100.0 * exact.high),
            )
        checked += 1
    # nine quantities and two trucks, as found and as left
    assert checked == 2 * (9 + 2)


def test_every_single_error_of_the_workbook(files):
    rows = rows_of(files["book"], "Errors")
    for row in rows:
        c, r = row["lane"], row["reference"]
        wanted = 100.0 * (c - r) / r if row["error unit"] == "%" else c - r
        assert close(row["error"], wanted)
    own = errors_of(rows_of(files["book"], "Runs"))
    for stage in ("as found", "as left"):
        for quantity in WEIGHTS:
            listed = sorted(
                row["error"]
                for row in rows
                if (row["stage"], row["quantity"]) == (stage, quantity)
            )
            assert close(listed, sorted(values(own[stage][quantity])))


def test_the_session_s_verdict_from_the_runs_of_the_workbook(files):
    own = errors_of(rows_of(files["book"], "Runs"))
    judged = [
        row
        for row in rows_of(files["book"], "Judgements")
        if row["standard"] == "ASTM E1318"
    ]
    seen = 0
    for row in judged:
        limit = E1318_TYPE_I.get(row["criterion"])
        if limit is None:
            continue
        assert row["class"] == "Type I"
        x = values(own[row["stage"]][row["criterion"]])
        n_out = int((np.abs(x) > limit + 1e-9).sum())
        exact = stats.binomtest(x.size - n_out, x.size).proportion_ci(0.95, "exact")
        assert close(row["value"], 100.0 * (x.size - n_out) / x.size)
        assert close((row["low"], row["high"]), (100 * exact.low, 100 * exact.high))
        assert close(row["margin"], row["value"] - 95.0)
        outside_pct = 100.0 * n_out / x.size
        assert row["verdict"] == ("meets" if outside_pct <= 5.0 else "misses")
        seen += 1
    assert seen == 2 * len(E1318_TYPE_I)


def test_field_validation_from_the_runs_of_the_workbook(files):
    own = errors_of(rows_of(files["book"], "Runs"))
    seen = 0
    for row in rows_of(files["book"], "Judgements"):
        if not row["standard"].startswith("LTPP") or row["criterion"] == "system":
            continue
        found = own[row["stage"]].get(row["criterion"])
        if not found or row["unit"] != "%":
            continue
        x = values(found)
        assert close(row["value"], x.mean())
        assert close((row["low"], row["high"]), t_ends(x, of_mean=False))
        seen += 1
    assert seen >= 4


def test_predicted_errors_and_factor_from_the_runs_of_the_workbook(files):
    own = errors_of(rows_of(files["book"], "Runs"))
    for row in rows_of(files["book"], "Factors"):
        if row["what"] != "errors predicted":
            continue
        gross = own[row["stage"]]["gross weight"]
        c, r = (np.array([one[place] for one in gross]) for place in (2, 3))
        assert row["n"] == c.size
        if row["which"] == "as it is":
            x = 100.0 * (c - r) / r
            assert close(row["mean %"], x.mean())
            assert close(row["sd %"], x.std(ddof=1))
            assert close(row["rms %"], np.sqrt(np.mean(x**2)))
    factors = {
        (row["stage"], row["which"]): row["factor or ratio"]
        for row in rows_of(files["book"], "Factors")
        if row["what"] == "ratio asked for"
    }
    for stage in ("as found", "as left"):
        gross = own[stage]["gross weight"]
        bare = sum(one[3] for one in gross) / sum(one[2] for one in gross)
        # runs are weighted by what their static weights are worth: near the bare ratio
        assert factors[stage, "all axles"] == pytest.approx(bare, abs=2e-3)


def test_the_file_for_machines_holds_the_same_numbers(files):
    told = files["json"]
    runs = {one["number"]: one for one in told["runs"]}
    for stage in told["computed"]["stages"]:
        used = [
            one
            for one in runs.values()
            if one["stage"] == stage["name"] and not one["excluded"]
        ]
        c = np.array([sum(one["axle_weights_kg"]) for one in used])
        r = np.array([sum(one["static_axle_weights_kg"]) for one in used])
        x = 100.0 * (c - r) / r
        gross = stage["statistics"][0]
        assert gross["quantity"] == "gross weight"
        assert close(gross["mean"], x.mean())
        assert close(gross["sd"], x.std(ddof=1))
        ends = gross["mean_interval"]
        assert close((ends["low"], ends["high"]), t_ends(x, of_mean=True))
        for run, error in zip(used, x, strict=True):
            assert close(stage["gross_weight_errors_pct"][str(run["number"])], error)
        names = np.array([one["vehicle"] for one in used])
        first, second = (x[names == name] for name in sorted(set(names)))
        welch = stats.ttest_ind(first, second, equal_var=False)
        ends = welch.confidence_interval(0.95)
        difference = stage["vehicle_difference"]
        assert close(difference["difference"], first.mean() - second.mean())
        assert close(difference["p"], welch.pvalue)
        assert close(
            (difference["interval"]["low"], difference["interval"]["high"]),
            (ends.low, ends.high),
        )
        assert close(stage["factor"]["ratio"], r.sum() / c.sum())


def test_anybody_can_hash_the_inputs_again(files):
    for one in files["json"]["inputs"].values():
        text = json.dumps(one["inputs"], sort_keys=True, separators=(",", ":"))
        assert hashlib.sha256(text.encode("ascii")).hexdigest() == one["sha256"]
    stored = {r.stage: r.inputs_sha256 for r in files["pdf"].results.all()}
    told = {name: one["sha256"] for name, one in files["json"]["inputs"].items()}
    assert told == stored


def test_the_sheet_of_runs_gives_the_stored_results(files):
    rows = list(csv.DictReader(io.StringIO(files["csv"])))
    own = errors_of(rows)
    for result in files["pdf"].results.all():
        x = values(own[result.stage]["gross weight"])
        assert result.n_runs == x.size
        assert close(result.gvw_mean_pct, x.mean())
        assert close(result.gvw_sd_pct, x.std(ddof=1))
        low, high = t_ends(x, of_mean=True)
        assert close((result.gvw_low_pct, result.gvw_high_pct), (low, high))


def test_what_was_typed_in_pounds_comes_back_as_typed(files):
    runs = {one["number"]: one for one in files["json"]["runs"]}
    for row in rows_of(files["book"], "Runs"):
        text, unit = runs[row["run"]]["typed"]["axle_weights_kg"]
        assert unit == "lb"
        typed = [float(one.replace(",", "")) for one in text.split()]
        assert list(numbers(row, "axle")) == typed


def test_the_paper_prints_the_recomputed_numbers(files, program):
    """The data that the page template prints, without the program's rounding."""
    from calibration.papers.session_record import session_record_data
    from calibration.selectors import session_get
    from calibration.selectors.record import session_record

    record = session_record(session_get(files["pdf"].pk), unit_system="us")
    data, _ = session_record_data(record, program=program)
    own = errors_of(rows_of(files["book"], "Runs"))
    scale = {"%": 1.0, "ft": FT, "mph": MILE_KM}
    for stage in data["stages"]:
        rows = stage["statistics"]["rows"]
        assert len(rows) == 9
        for row in rows:
            quantity, unit = row[0].rsplit(", ", 1)
            x = values(own[stage["name"]][quantity]) / scale[unit]
            ends = [*t_ends(x, of_mean=True), *t_ends(x, of_mean=False)]
            told = " to ".join(row[4:6]).split(" to ")
            printed = [row[2], row[3], *told]
            for text, wanted in zip(
                printed, [x.mean(), x.std(ddof=1), *ends], strict=True
            ):
                assert abs(float(text.replace("−", "-")) - wanted) <= 0.005 + 1e-6
            assert int(row[1]) == x.size
