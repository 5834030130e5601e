"""The store: whole parts or none, the same bytes for the same records."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from quality.records.schema import OPTIONAL_COLUMNS, STORE_SCHEMA, split_by_lane
from quality.records.store import (
    Part,
    PartWriter,
    partition_of,
    read_parts,
    sweep_orphans,
    write_part,
)
from tests.quality.records.conftest import MPH, SAMPLES, read
from wimprog.lib.errors import DomainError

SHA = "ab" * 32


@pytest.fixture
def lane_table() -> pa.Table:
    table, _ = read((SAMPLES / "orrin_w2016.wgt").read_bytes(), options=MPH)
    _, rows = next(split_by_lane(table))
    return rows


def _two_months(rows: pa.Table) -> pa.Table:
    place = rows.schema.get_field_index("time")
    month = np.timedelta64(31, "D")
    later = rows.set_column(
        place, rows.schema.field("time"), pa.array(np.asarray(rows["time"]) + month)
    )
    return pa.concat_tables([rows, later])


def files(root: Path) -> list[str]:
    return sorted(
        path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()
    )


def test_records_come_back_by_month_and_exactly(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    rows = _two_months(lane_table)
    parts = write_part(tmp_path, "OV-001", "E1", rows, source_sha256=SHA)
    assert [str(part.month) for part in parts] == ["2031-05-01", "2031-06-01"]
    assert [part.n_records for part in parts] == [lane_table.num_rows] * 2
    assert files(tmp_path) == [part.path for part in parts]
    assert parts[0].path.startswith("site=OV-001/lane=E1/year=2031/month=05/abababab")
    assert all((tmp_path / p.path).stat().st_size == p.n_bytes for p in parts)
    back = read_parts(tmp_path, [part.path for part in parts])
    assert back == rows
    assert back.schema.metadata == rows.schema.metadata


def test_the_same_records_give_the_same_file(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    def write(root: Path) -> Part:
        (part,) = write_part(root, "OV-001", "E1", lane_table, source_sha256=SHA)
        return part

    first, second = write(tmp_path / "a"), write(tmp_path / "b")
    assert first == second
    assert write(tmp_path / "a") == first
    assert len(files(tmp_path / "a")) == 1


def test_pieces_in_any_size_make_the_same_part(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    whole = write_part(tmp_path / "a", "OV-001", "E1", lane_table, source_sha256=SHA)
    with PartWriter(tmp_path / "b", SHA) as writer:
        for start in range(0, lane_table.num_rows, 7):
            writer.add("OV-001", "E1", lane_table.slice(start, 7))
        pieces = [part for _, _, part in writer.commit()]
    assert pieces == whole


def test_a_source_of_many_parts_keeps_few_files_open_and_every_record(
    tmp_path: Path, lane_table: pa.Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A year of a whole program in one file: more parts than a process may open."""
    monkeypatch.setattr("quality.records.store.BUFFER_ROWS", 60)
    monkeypatch.setattr("quality.records.store.OPEN_PARTS", 2)
    rows = _two_months(lane_table)
    lanes = [f"E{number}" for number in range(12)]
    handles = Path("/proc/self/fd")
    if not handles.is_dir():
        pytest.skip("this system does not list open files")
    before = len(list(handles.iterdir()))
    most = 0
    with PartWriter(tmp_path, SHA) as writer:
        for start in range(0, rows.num_rows, 5):
            for lane in lanes:
                writer.add("OV-001", lane, rows.slice(start, 5))
                most = max(most, len(list(handles.iterdir())) - before)
        laid_by = [name for name in files(tmp_path) if name.endswith(".tmp")]
        parts = writer.commit()
    assert len(laid_by) > 24 > 2 >= most
    assert [(lane, str(part.month)[:7]) for _, lane, part in parts] == [
        (lane, month) for lane in sorted(lanes) for month in ("2031-05", "2031-06")
    ]
    assert files(tmp_path) == sorted(part.path for _, _, part in parts)
    for lane in lanes:
        paths = [part.path for _, of, part in parts if of == lane]
        assert read_parts(tmp_path, paths) == rows


def test_what_was_laid_by_is_written_in_whole_groups_and_leaves_with_the_rest(
    tmp_path: Path, lane_table: pa.Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quality.records.store.BUFFER_ROWS", 10)
    monkeypatch.setattr("quality.records.store.OPEN_PARTS", 0)
    monkeypatch.setattr("quality.records.pending_part.ROW_GROUP", 16)
    n = lane_table.num_rows
    for leave in (True, False):
        with PartWriter(tmp_path, SHA) as writer:
            for start in range(0, n, 7):
                writer.add("OV-001", "E1", lane_table.slice(start, 7))
            assert len(files(tmp_path)) > 3
            parts = [] if leave else [part for _, _, part in writer.commit()]
        assert files(tmp_path) == [part.path for part in parts]
    (part,) = parts
    about = pq.ParquetFile(tmp_path / part.path).metadata
    sizes = [about.row_group(k).num_rows for k in range(about.num_row_groups)]
    assert set(sizes[:-1]) == {16}
    assert sum(sizes) == n
    assert read_parts(tmp_path, [part.path]) == lane_table


def test_leaving_without_commit_leaves_nothing(
    tmp_path: Path, lane_table: pa.Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quality.records.store.BUFFER_ROWS", 10)
    with PartWriter(tmp_path, SHA) as writer:
        writer.add("OV-001", "E1", lane_table)
        assert files(tmp_path)  # aside, hidden
        assert not [name for name in files(tmp_path) if name.endswith(".parquet")]
    assert files(tmp_path) == []


def test_a_killed_writer_leaves_only_whole_parts_and_an_orphan_to_sweep(
    tmp_path: Path,
) -> None:
    script = textwrap.dedent(
        """
        import os, signal, sys
        import quality.records.store as store
        from quality.records.schema import split_by_lane
        from tests.quality.records.conftest import SAMPLES, read
        table, _ = read((SAMPLES / "orrin_w2016.wgt").read_bytes())
        lanes = list(split_by_lane(table))
        store.BUFFER_ROWS = 10
        original = store.PendingPart.commit
        done = []
        def commit(self, root, month):
            if done:
                os.kill(os.getpid(), signal.SIGKILL)
            done.append(1)
            return original(self, root, month)
        store.PendingPart.commit = commit
        with store.PartWriter(sys.argv[1], "cd" * 32) as writer:
            for lane, rows in lanes:
                writer.add("OV-001", lane.lane_code, rows)
            writer.commit()
        """
    )
    root = Path(__file__).resolve().parents[3]
    run = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)], cwd=root, check=False
    )
    assert run.returncode == -9
    found = files(tmp_path)
    whole = [name for name in found if name.endswith(".parquet")]
    aside = [name for name in found if name.endswith(".tmp")]
    assert (len(whole), len(aside)) == (1, 1)
    assert read_parts(tmp_path, whole).num_rows > 0
    assert sweep_orphans(tmp_path, whole) == []  # too fresh: may be at work
    assert sweep_orphans(tmp_path, whole, older_than_s=-1) == aside
    assert files(tmp_path) == whole
    assert sweep_orphans(tmp_path, [], older_than_s=-1) == whole


def test_columns_and_period_narrow_what_is_read(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    (part,) = write_part(tmp_path, "OV-001", "E1", lane_table, source_sha256=SHA)
    first, last = np.datetime64("2031-05-13"), np.datetime64("2031-05-14")
    table = read_parts(
        tmp_path, [part.path], columns=["gvw_kg"], first=first, last=last
    )
    time = np.asarray(lane_table["time"])
    inside = (time >= first) & (time < last)
    assert 0 < inside.sum() < len(inside)
    assert table.column_names == ["gvw_kg"]
    assert table["gvw_kg"].to_pylist() == (
        np.asarray(lane_table["gvw_kg"])[inside].tolist()
    )
    assert read_parts(tmp_path, []) == STORE_SCHEMA.empty_table()


def test_a_lost_part_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(DomainError, match=r"cannot be read .* backup"):
        read_parts(tmp_path, ["site=A/lane=1/year=2031/month=05/x.parquet"])
    with pytest.raises(DomainError, match="not inside the store"):
        read_parts(tmp_path, ["../outside.parquet"])


def test_names_cannot_leave_the_store_or_meet() -> None:
    month = np.datetime64("2031-05")
    odd = {partition_of(name, "1", month) for name in ("a/b", "a%2fb", "a b", "../a")}
    assert len(odd) == 4
    assert all(path.count("/") == 3 for path in odd)
    with pytest.raises(DomainError, match="need a name"):
        partition_of("..", "1", month)


def test_a_part_older_than_the_optional_columns_reads_with_nulls(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    (new,) = write_part(tmp_path, "OV-001", "E1", lane_table, source_sha256=SHA)
    older = lane_table.drop(list(OPTIONAL_COLUMNS))
    pq.write_table(older, tmp_path / "older.parquet")
    table = read_parts(tmp_path, ["older.parquet", new.path])
    assert table.schema.equals(STORE_SCHEMA)
    assert table.num_rows == 2 * older.num_rows
    for name in OPTIONAL_COLUMNS:
        assert table[name].null_count == table.num_rows
    chosen = read_parts(tmp_path, ["older.parquet"], columns=["temperature_c", "time"])
    assert chosen.column_names == ["temperature_c", "time"]
    assert chosen["temperature_c"].null_count == older.num_rows
    start = np.asarray(older["time"])[0].astype("M8[ms]")
    none = read_parts(tmp_path, ["older.parquet"], columns=["w1_kg"], last=start)
    assert (none.num_rows, none.column_names) == (0, ["w1_kg"])


def test_rows_without_the_optional_columns_are_stored_with_nulls(
    tmp_path: Path, lane_table: pa.Table
) -> None:
    older = lane_table.drop(list(OPTIONAL_COLUMNS))
    (part,) = write_part(tmp_path, "OV-001", "E1", older, source_sha256=SHA)
    assert read_parts(tmp_path, [part.path]) == lane_table
