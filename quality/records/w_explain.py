"""One refused truck weight record, told so that its sender can mend it."""

from __future__ import annotations

from quality.records import w_layout as at
from quality.records.report import Reason
from quality.records.schema import MAX_AXLES
from quality.records.w_forms import WForm
from wimprog.lib.errors import Complaint

SHOWN = 60


def shown(raw: bytes) -> str:
    """Bytes for people: ASCII as it is, everything else as its code."""
    text = raw[:SHOWN].decode("ascii", errors="backslashreplace")
    text = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)
    return text + ("…" if len(raw) > SHOWN else "")


class _Line:
    """The columns of one line, with what its fields hold."""

    def __init__(self, raw: bytes, *, row: int, form: WForm) -> None:
        self.raw, self.row, self.form, self.pipe = raw, row, form, form.pipe

    def text(self, field: at.FieldAt) -> bytes:
        """The field's bytes, possibly cut short by the line's end."""
        place = self.form.place(field)
        return self.raw[place.start : place.stop]

    def title(self, field: at.FieldAt) -> str:
        """The field with the place where the sender finds it."""
        return self.form.place(field).title(pipe=self.pipe)

    def value(self, field: at.FieldAt) -> int | None:
        """The field's number, blank as zero; None when it is not one."""
        stripped = self.text(field).lstrip(b" ")
        if not stripped:
            return 0
        return int(stripped) if stripped.isdigit() else None

    def complaint(
        self,
        message: str,
        field: at.FieldAt | None = None,
        *,
        expected: str = "",
        remedy: str = "",
    ) -> Complaint:
        """A complaint about this line."""
        return Complaint(
            message=message,
            row=self.row,
            field=self.title(field) if field else "",
            value=shown(self.text(field)) if field else "",
            expected=expected,
            remedy=remedy,
        )


def explain(
    raw: bytes, reason: Reason, *, row: int, form: WForm, cut: bool = False
) -> Complaint:
    """Say what is wrong with a line that was refused for ``reason``.

    Parameters
    ----------
    raw
        The line as the form's columns (a pipe-delimited line already set out so).
    reason
        Why it was refused.
    row
        Line number, from 1.
    form
        The file's written form, which says where the sender finds a field.
    cut
        Whether the line is the file's last and has no line end.
    """
    line = _Line(raw, row=row, form=form)
    complaint = _TELL.get(reason, _record_type)(line)
    if not cut:
        return complaint
    return Complaint(
        message=f"{complaint.message} The file ends in the middle of this line.",
        row=row,
        field=complaint.field,
        value=complaint.value,
        expected=complaint.expected,
        remedy="The file was cut off, in transfer or by a full disk: send it again.",
    )


def _not_ascii(line: _Line) -> Complaint:
    place = next(
        (i for i, byte in enumerate(line.raw) if not 32 <= byte <= 126), len(line.raw)
    )
    field = next(
        (
            f
            for f in at.ALL_FIELDS
            if line.form.place(f).start <= place < line.form.place(f).stop
        ),
        None,
    )
    return line.complaint(
        f"the character at column {place + 1} is not plain ASCII.",
        field,
        expected="digits, letters and blanks only",
        remedy="Write the file out again as plain ASCII text, not with a word "
        "processor.",
    )


def _record_type(line: _Line) -> Complaint:
    return line.complaint(
        "this is not a truck weight record.",
        at.RECORD_TYPE,
        expected="W in the first column",
        remedy="Leave other record types in files of their own.",
    )


def _too_short(line: _Line) -> Complaint:
    return Complaint(
        message=f"the line has {len(line.raw)} columns and ends before its number of "
        "axles.",
        row=line.row,
        value=shown(line.raw),
        expected=f"at least {line.form.head_length} columns",
        remedy="The line was cut: take it from the controller again.",
    )


def _too_long(line: _Line) -> Complaint:
    return Complaint(
        message="the line goes on after the thirteenth axle, or one of its fields is "
        "wider than the layout allows.",
        row=line.row,
        value=shown(line.raw),
        expected=f"at most {line.form.record_length} columns",
        remedy="Check that two lines were not joined into one.",
    )


def _station(line: _Line) -> Complaint:
    for field in (at.STATE, at.DIRECTION, at.LANE):
        text = line.text(field)
        if not text.strip().isdigit() or text[-1:] == b" ":
            return line.complaint(
                f"the {field.name} is not a code of {field.width} digit"
                f"{'s' if field.width > 1 else ''}.",
                field,
                expected="digits",
                remedy="The record cannot be told to a lane without it.",
            )
    return line.complaint(
        "the station has no identifier, or one that is not right-justified.",
        at.STATION,
        expected="six characters, right-justified, zeros in front",
    )


def _not_a_number(line: _Line) -> Complaint:
    for field in at.NUMERIC_FIELDS[3:]:
        text = line.text(field)
        if line.value(field) is None or (field is at.HOUR and not text.strip()):
            empty = not text.strip()
            return line.complaint(
                f"the {field.name} is {'empty' if empty else 'not a whole number'}.",
                field,
                expected="digits, right-justified, no decimals and no commas",
                remedy="Check that the columns have not slipped: every field after a "
                "lost or doubled character reads wrong.",
            )
    return line.complaint("a field is not a whole number.", expected="digits")


def _date(line: _Line) -> Complaint:
    year, day = line.form.place(at.YEAR), line.form.place(at.DAY)
    columns = f"date (columns {year.start + 1}–{day.stop})"
    years = f", {at.FIRST_YEAR} to {at.LAST_YEAR}" if year.width == 4 else ""
    return Complaint(
        message="this is not a day of the calendar.",
        row=line.row,
        field="date (fields 6–8)" if line.pipe else columns,
        value=shown(line.raw[year.start : day.stop]),
        expected=f"year, month, day as {'y' * year.width}mmdd{years}",
        remedy="Check the controller's clock, and that the columns have not slipped.",
    )


def _hour(line: _Line) -> Complaint:
    return line.complaint(
        "there is no such hour.",
        at.HOUR,
        expected="the hour in which the vehicle passed began, 00 to 23",
        remedy="Midnight is hour 00 of the new day.",
    )


def _vehicle_class(line: _Line) -> Complaint:
    return line.complaint(
        "there is no such vehicle class.",
        at.VEHICLE_CLASS,
        expected="1 to 15, blank where not classified"
        + (", m or d for an hour mark" if line.form.has_hour_marks else ""),
    )


def _axle_count(line: _Line) -> Complaint:
    return line.complaint(
        "a vehicle cannot have this number of axles here.",
        at.AXLES,
        expected=f"2 to {MAX_AXLES}",
    )


def _axles_missing(line: _Line) -> Complaint:
    n_axles = line.value(at.AXLES) or 0
    length = line.form.line_length(min(n_axles, MAX_AXLES))
    if not line.pipe and len(line.raw) < length:
        return Complaint(
            message=f"the record counts {n_axles} axles, which take "
            f"{length} columns, but the line ends after "
            f"{len(line.raw)}.",
            row=line.row,
            field=line.title(at.AXLES),
            value=shown(line.text(at.AXLES)),
            expected=f"{n_axles} axle weights and {n_axles - 1} spacings",
            remedy="The line was cut, or its axle count is wrong.",
        )
    for k in range(n_axles):
        fields = [at.WEIGHTS[k]] if k == 0 else [at.SPACINGS[k - 1], at.WEIGHTS[k]]
        for field in fields:
            if not line.text(field).strip():
                return line.complaint(
                    f"the record counts {n_axles} axles, but {field.name} is empty.",
                    field,
                    expected=f"{n_axles} axle weights and {n_axles - 1} spacings",
                    remedy="The sensor missed an axle, or the axle count is wrong.",
                )
    return line.complaint("an axle is missing.", at.AXLES)


def _axles_extra(line: _Line) -> Complaint:
    n_axles = line.value(at.AXLES) or 0
    for field in at.ALL_FIELDS[13:]:
        if field.start >= at.line_length(n_axles) and line.text(field).strip(b" 0"):
            return line.complaint(
                f"the record counts {n_axles} axles, but {field.name} is filled in.",
                field,
                expected=f"nothing after axle weight {n_axles}",
                remedy="The axle count is wrong, or two vehicles ran into one record.",
            )
    return line.complaint("there are more axles than counted.", at.AXLES)


def _gross_weight(line: _Line) -> Complaint:
    n_axles = line.value(at.AXLES) or 0
    total = sum(line.value(field) or 0 for field in at.WEIGHTS[:n_axles])
    gross = line.value(at.GROSS) or 0
    if total > gross:
        more = line.form.weight_text(total - gross)
        message = f"its axles exceed its gross weight by {more}."
    else:
        less = line.form.weight_text(gross - total)
        message = f"its axles fall short of its gross weight by {less}."
    return line.complaint(
        message,
        at.GROSS,
        expected=f"{line.form.weight_text(total)}, the sum of its {n_axles} axles but "
        "for rounding",
        remedy="Look for transposed or dropped digits in the axle weights and the "
        "gross weight.",
    )


_TELL = {
    Reason.NOT_ASCII: _not_ascii,
    Reason.RECORD_TYPE: _record_type,
    Reason.TOO_SHORT: _too_short,
    Reason.TOO_LONG: _too_long,
    Reason.STATION: _station,
    Reason.NOT_A_NUMBER: _not_a_number,
    Reason.DATE: _date,
    Reason.HOUR: _hour,
    Reason.VEHICLE_CLASS: _vehicle_class,
    Reason.AXLE_COUNT: _axle_count,
    Reason.AXLES_MISSING: _axles_missing,
    Reason.AXLES_EXTRA: _axles_extra,
    Reason.GROSS_WEIGHT: _gross_weight,
}
