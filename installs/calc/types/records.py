"""Words of the plan and of the installation record."""

from __future__ import annotations

from enum import StrEnum


class ItemKind(StrEnum):
    """What a check item of a stage asks for."""

    MEASUREMENT = "measurement"
    SERIES = "series along the sensor"
    TRIANGLE = "triangle on the reference line"
    YES_NO = "yes or no"
    CHOICE = "one of several"
    PHOTO = "photo"
    READING = "reading of an instrument"
    BATCH = "product batch"
    TEXT = "words"

    @property
    def n_numbers(self) -> int | None:
        """How many numbers an answer holds; None when that is for the item to say."""
        return {
            ItemKind.MEASUREMENT: 1,
            ItemKind.READING: 1,
            ItemKind.TRIANGLE: 3,
            ItemKind.SERIES: None,
        }.get(self, 0)


class LimitSource(StrEnum):
    """Whose limit it is."""

    STANDARD = "standard"
    MAKER = "maker"
    CONTRACT = "contract"
    AGENCY = "agency"
    COMMON_PRACTICE = "common practice, no source"


class LimitRule(StrEnum):
    """Where a limit comes from when it is not a number of the template."""

    FIXED = "as written"
    CURING_TABLE = "curing table of the product"
    SENSOR_MODEL = "limits of the sensor model"


class SignRole(StrEnum):
    """Who signs a stage, by what they answer for."""

    INSTALLER = "installer"
    INSPECTOR = "inspector"
    ENGINEER = "engineer"


class RecordState(StrEnum):
    """Where an installation record stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    REJECTED = "rejected"
    ABANDONED = "abandoned"


class StageState(StrEnum):
    """Where a stage of a record stands; computed, never stored."""

    NOT_BEGUN = "not begun"
    IN_WORK = "in work"
    READY = "ready to sign"
    SIGNED = "signed"
    CORRECTED = "corrected since signing"


class DispositionKind(StrEnum):
    """What was decided about an item out of its limits."""

    REWORKED = "reworked"
    ACCEPTED = "accepted as it is"
    REJECTED = "rejected"


class EntrySource(StrEnum):
    """How an answer came in."""

    SCREEN = "typed on the spot"
    QUEUED = "typed without signal, sent later"
    PAPER = "typed in from a paper sheet"


class TemplateState(StrEnum):
    """Where a stage template stands."""

    DRAFT = "draft"
    IN_USE = "in use"
    REPLACED = "replaced"


class PlanState(StrEnum):
    """Where an array plan stands."""

    DRAFT = "draft"
    APPROVED = "approved"
    REPLACED = "replaced"
