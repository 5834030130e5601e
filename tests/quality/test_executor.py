"""The seam: the same function, parts and bits, wherever the work runs."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.daily import Daily, combine, daily_sums
from quality.calc.executor import (
    AHEAD,
    Choice,
    Executor,
    Serial,
    Where,
    executor,
    on_cluster,
)
from quality.calc.over_parts import PartWork, over_parts
from quality.calc.steering import weekly_steering
from quality.records.schema import STORE_SCHEMA, WEIGHT_COLUMNS, matrix, times_ms
from quality.records.store import write_part
from wimprog.lib.errors import DomainError

PLACES = ("serial", "threads", "processes", "cluster")
SHA = "5c" * 32
N_PARTS, N_EACH = 9, 4_000
AXLE_BINS_KG = np.arange(0.0, 20_001.0, 500.0)


def records_of(rng: np.random.Generator, n: int) -> pa.Table:
    """Invented trucks of June 2031 whose weights are no round numbers."""
    start = np.datetime64("2031-06-01").astype("M8[ms]")
    time = np.sort(start + rng.integers(0, 30 * 86_400_000, n))
    gross = rng.lognormal(10, 0.5, n)
    n_axles = rng.integers(2, 7, n)
    data: dict[str, Any] = {
        name: pa.nulls(n, STORE_SCHEMA.field(name).type) for name in STORE_SCHEMA.names
    }
    for place, name in enumerate(WEIGHT_COLUMNS):
        share = gross / n_axles * rng.uniform(0.8, 1.2, n)
        data[name] = pa.array(share, pa.float32(), mask=n_axles <= place)
    data |= {
        "time": pa.array(time, STORE_SCHEMA.field("time").type),
        "vehicle_class": pa.array(np.where(n_axles == 5, 9, 5), pa.int8()),
        "gvw_kg": pa.array(gross, pa.float32()),
        "n_axles": pa.array(n_axles, pa.int8()),
        "source_line": pa.array(np.arange(n), pa.int32()),
    }
    return pa.table(data, schema=STORE_SCHEMA)


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """One lane's month in parts of many sources and of very different sizes."""
    root = tmp_path_factory.mktemp("parts")
    rng = np.random.default_rng(20310601)
    paths = []
    for place in range(N_PARTS):
        n = N_EACH if place else 20 * N_EACH  # the first part finishes last
        table = records_of(rng, n)
        paths += write_part(root, "OV-001", "E1", table, source_sha256=f"{place:064x}")
    return root, [part.path for part in paths]


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """A cluster of two worker processes on this machine."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            dashboard_address=":0",
            worker_dashboard_address=None,
            silence_logs=50,
        ) as local,
        Client(local, set_as_default=False) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def processes() -> Iterator[Executor]:
    """Two processes, started once."""
    with executor(Choice(Where.PROCESSES, workers=2)) as place:
        yield place


@pytest.fixture(params=PLACES)
def place(request: pytest.FixtureRequest) -> Iterator[Executor]:
    """Each place to run in turn."""
    if request.param == "cluster":
        yield on_cluster(request.getfixturevalue("cluster"))
    elif request.param == "processes":
        yield request.getfixturevalue("processes")
    else:
        with executor(Choice.parse(request.param)) as found:
            yield found


# --- what runs: functions of this module, so that every worker can import them -----


def axle_spectrum(table: pa.Table) -> np.ndarray:
    """Axles and their summed fourth powers of weight, by weight class."""
    kg = matrix(table, WEIGHT_COLUMNS).astype(np.float64).ravel()
    kg = kg[~np.isnan(kg)]
    counts, _ = np.histogram(kg, AXLE_BINS_KG)
    powers, _ = np.histogram(kg, AXLE_BINS_KG, weights=kg**4)
    return np.array([counts, powers])


def hourly_volumes(table: pa.Table) -> np.ndarray:
    hours = times_ms(table).astype(np.int64) // 3_600_000 % 24
    return np.bincount(hours, minlength=24)


def gross_sum(table: pa.Table) -> float:
    return float(np.asarray(table.column("gvw_kg"), dtype=np.float64).sum() / 3.0)


def slow_first(number: int) -> int:
    """The first part takes longest, so that it is completed last."""
    time.sleep(0.12 if number == 0 else 0.0)
    return number


def meet(folder: str) -> int:
    """Wait for another process that does the same; returns this one's id."""
    (Path(folder) / str(os.getpid())).touch()
    end = time.monotonic() + 20
    while len(list(Path(folder).iterdir())) < 2:
        if time.monotonic() > end:
            raise TimeoutError("nobody else works here")
        time.sleep(0.01)
    return os.getpid()


def broken(number: int) -> int:
    if number == 3:
        raise DomainError("Part 3 cannot be read.")
    return number


def bits(column: Any) -> Any:
    """A column's bytes; of nested counts (whole numbers) how they are written."""
    values = column.to_numpy()
    return repr(values.tolist()) if values.dtype == object else values.tobytes()


def same_bits(one: Daily, other: Daily) -> bool:
    """Whether two sums agree in every bit, type and row."""
    return all(
        list(a.columns) == list(b.columns)
        and all(a[c].dtype == b[c].dtype for c in a.columns)
        and all(bits(a[c]) == bits(b[c]) for c in a)
        for a, b in ((one.by_class, other.by_class), (one.by_day, other.by_day))
    )


def whole_days(place: Executor, root: Path, paths: list[str], **how: Any) -> Daily:
    work = PartWork(partial(daily_sums, legal_gross_kg=36_287.0), str(root))
    return combine(over_parts(place, work, paths, **how))


# --- order -------------------------------------------------------------------------


def test_results_come_in_the_order_of_the_parts(place: Executor) -> None:
    assert list(place.map(slow_first, range(12))) == list(range(12))


def test_nothing_in_gives_nothing_out(place: Executor) -> None:
    assert list(place.map(slow_first, [])) == []


def test_the_pool_and_the_cluster_really_work_elsewhere(
    processes: Executor, cluster: Any, tmp_path: Path
) -> None:
    cluster.wait_for_workers(2, timeout=20)
    for name, place in (("pool", processes), ("cluster", on_cluster(cluster))):
        folder = tmp_path / name
        folder.mkdir()
        pids = set(place.map(meet, [str(folder)] * 2))
        assert os.getpid() not in pids
        assert len(pids) == 2


# --- equal to the last bit -----------------------------------------------------------


def test_daily_sums_and_weeks_are_equal_to_the_last_bit(place, parts) -> None:
    """Against a plain loop that knows nothing of executors."""
    root, paths = parts
    from quality.records.store import iter_parts

    plain = combine(
        daily_sums(table, legal_gross_kg=36_287.0) for table in iter_parts(root, paths)
    )
    assert plain.by_day["n_vehicles"].sum() == (N_PARTS - 1 + 20) * N_EACH
    for together in (1, 4, 100):
        found = whole_days(place, root, paths, together=together)
        assert same_bits(found, plain)
        weeks, wanted = (weekly_steering(d.by_class) for d in (found, plain))
        for name in wanted.columns:
            assert weeks[name].to_numpy().tobytes() == wanted[name].to_numpy().tobytes()


@pytest.mark.parametrize("function", [axle_spectrum, hourly_volumes, gross_sum])
def test_sums_of_spectra_and_volumes_are_equal_to_the_last_bit(
    function: Any, place: Executor, parts: Any
) -> None:
    root, paths = parts
    work = PartWork(function, str(root))

    def total(where: Executor) -> bytes:
        return np.asarray(sum(over_parts(where, work, paths, together=2))).tobytes()

    assert total(place) == total(Serial())


def test_order_of_adding_would_show(parts) -> None:
    """The equality above has teeth: added the other way round, bits differ."""
    root, paths = parts
    forward = whole_days(Serial(), root, paths)
    assert not same_bits(forward, whole_days(Serial(), root, paths[::-1]))
    spectrum = PartWork(axle_spectrum, str(root))
    there, back = (
        sum(over_parts(Serial(), spectrum, one)).tobytes()  # type: ignore[union-attr]
        for one in (paths, paths[::-1])
    )
    assert there != back


# --- when something goes wrong --------------------------------------------------------


def test_an_error_of_a_part_arrives_in_its_own_words(place: Executor) -> None:
    found: list[int] = []
    with pytest.raises(DomainError, match=r"^Part 3 cannot be read\.$"):
        found.extend(place.map(broken, range(100)))
    assert found == [0, 1, 2]


def test_a_missing_part_is_said_wherever_it_is_missed(place, parts) -> None:
    root, paths = parts
    work = PartWork(gross_sum, str(root))
    with pytest.raises(DomainError, match=r"gone\.parquet.*backup"):
        list(over_parts(place, work, [*paths, "site=OV-001/gone.parquet"]))


def die_once(folder: str) -> int:
    """Kill the worker the first time, as a machine that goes away would."""
    mark = Path(folder) / "died"
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), 9)
    return 1


def test_a_worker_that_dies_costs_no_result(cluster: Any, tmp_path: Path) -> None:
    assert list(on_cluster(cluster).map(die_once, [str(tmp_path)] * 5)) == [1] * 5
    assert (tmp_path / "died").exists()


def test_what_is_on_its_way_stays_bounded() -> None:
    """Parts are taken from the source only as results are used."""
    taken = 0
    lock = threading.Lock()

    def source() -> Iterator[int]:
        nonlocal taken
        for number in range(1000):
            with lock:
                taken += 1
            yield number

    with executor(Choice(Where.THREADS, workers=2)) as threads:
        results = threads.map(broken, source())
        assert next(results) == 0
        assert taken <= 2 * AHEAD + 1
        results.close()  # type: ignore[attr-defined]
    assert taken <= 2 * AHEAD + 1


# --- the choice -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("serial", Choice(Where.SERIAL)),
        ("threads", Choice(Where.THREADS)),
        ("threads:4", Choice(Where.THREADS, workers=4)),
        (" processes:2 ", Choice(Where.PROCESSES, workers=2)),
        ("cluster:tcp://a:8786", Choice(Where.CLUSTER, address="tcp://a:8786")),
    ],
)
def test_the_setting_is_read(text: str, wanted: Choice) -> None:
    assert Choice.parse(text) == wanted


@pytest.mark.parametrize(
    "text", ["", "cluster", "threads:0", "threads:-1", "serial:2", "processes:x", "x"]
)
def test_what_names_no_place_is_said(text: str) -> None:
    with pytest.raises(DomainError, match=r"does not say where.*threads:4.*cluster:"):
        Choice.parse(text)


def test_a_cluster_that_is_joined_by_address_works_and_goes_on(
    cluster: Any, parts: Any
) -> None:
    root, paths = parts
    with executor(Choice.parse(f"cluster:{cluster.scheduler.address}")) as joined:
        found = whole_days(joined, root, paths)
    assert same_bits(found, whole_days(Serial(), root, paths))
    cluster.wait_for_workers(2, timeout=20)  # left, not stopped


def test_an_address_that_makes_no_sense_is_said() -> None:
    with (
        pytest.raises(DomainError, match=r"cluster at .* does not answer"),
        executor(Choice(Where.CLUSTER, address="nowhere://x")),
    ):
        pass
