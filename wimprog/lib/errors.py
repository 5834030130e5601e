"""Errors that are meant for people: what was wrong, where, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Complaint:
    """One thing wrong with an input, told so that its sender can mend it.

    Every part is plain text or a plain number. ``row`` counts as the sender's editor
    does: the first line of a file is 1.
    """

    message: str
    row: int | None = None
    field: str = ""
    value: str = ""
    expected: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        where = [f"line {self.row}"] if self.row is not None else []
        if self.field:
            where.append(f"field {self.field}")
        parts = [", ".join(where) + ":" if where else "", self.message]
        if self.value:
            parts.append(f"Found “{self.value}”.")
        if self.expected:
            parts.append(f"Expected {self.expected}.")
        if self.remedy:
            parts.append(self.remedy)
        return " ".join(part for part in parts if part)

    def as_dict(self) -> dict[str, Any]:
        """The complaint as JSON-ready values (for ``--json`` and stored reports)."""
        return {
            "row": self.row,
            "field": self.field,
            "value": self.value,
            "message": self.message,
            "expected": self.expected,
            "remedy": self.remedy,
        }


class DomainError(Exception):
    """A rule of the job was broken; the message is fit to show to the user.

    Parameters
    ----------
    message
        What was wrong, in a sentence.
    complaints
        The single faults behind it, if there are several.
    """

    def __init__(self, message: str, complaints: tuple[Complaint, ...] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.complaints = complaints


class UnreadableInput(DomainError):
    """A file or sheet that cannot be taken as it stands. Nothing was stored."""
