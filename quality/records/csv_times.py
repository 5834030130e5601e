"""When each row of a headed file passed."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records.mapping import ColumnMapping
from quality.records.schema import TIME_TYPE

US_DATE = r"^(\d{1,2})[/.-](\d{1,2})[/.-](\d{4})(.*)$"


def times_of(table: pa.Table, mapping: ColumnMapping) -> np.ndarray:
    """``datetime64[ms]``, NaT where the time could not be read, shape (n,)."""
    name = mapping.time or mapping.date
    text = pc.utf8_trim_whitespace(table.column(name).combine_chunks())
    if mapping.date_order != "ymd":
        year_first = (
            r"\3-0\1-0\2\4" if mapping.date_order == "mdy" else (r"\3-0\2-0\1\4")
        )
        text = pc.replace_substring_regex(text, US_DATE, year_first)
        text = pc.replace_substring_regex(text, r"-0(\d\d)", r"-\1")
    if mapping.clock:
        clock = pc.utf8_trim_whitespace(table.column(mapping.clock))
        clock = pc.replace_substring_regex(clock, r"^(\d):", r"0\1:")
        text = pc.binary_join_element_wise(text, clock.combine_chunks(), " ")
    times = _parse_times(text)
    if not mapping.time and mapping.hour:
        hours = table.column(mapping.hour).to_numpy()
        whole = np.isfinite(hours) & (hours >= 0) & (hours <= 23)
        whole &= np.where(whole, hours, 0) % 1 == 0
        offset = np.where(whole, hours, 0).astype("timedelta64[h]")
        times = np.where(whole, times + offset, np.datetime64("NaT", "ms"))
    return times


def _parse_times(text: pa.Array) -> np.ndarray:
    try:
        return pc.cast(text, TIME_TYPE).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        out = np.full(len(text), np.datetime64("NaT", "ms"))
        for place, one in enumerate(text.to_pylist()):
            try:
                out[place] = pa.scalar(one).cast(TIME_TYPE).value
            except (pa.ArrowInvalid, ValueError, TypeError):
                continue
        return out
