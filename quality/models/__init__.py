"""What it recorded: record files, the store, summaries, reviews, drift, reports."""

from quality.models.days import (
    DailySummary,
    DayDecision,
    DayReview,
    LaneDay,
    LaneMonth,
    LaneWeek,
)
from quality.models.files import (
    ApiKey,
    FileOrigin,
    ImportState,
    RecordFile,
    RecordImport,
    RecordPart,
    RecordReplacement,
    RefusedLine,
    SavedMapping,
    StationDescription,
)
from quality.models.judged import (
    BackCorrection,
    CheckLimit,
    DriftEpisode,
    RecordSettings,
    ReportIssue,
    ReportJob,
    ReviewQuestion,
)

__all__ = [
    "ApiKey",
    "BackCorrection",
    "CheckLimit",
    "DailySummary",
    "DayDecision",
    "DayReview",
    "DriftEpisode",
    "FileOrigin",
    "ImportState",
    "LaneDay",
    "LaneMonth",
    "LaneWeek",
    "RecordFile",
    "RecordImport",
    "RecordPart",
    "RecordReplacement",
    "RecordSettings",
    "RefusedLine",
    "ReportIssue",
    "ReportJob",
    "ReviewQuestion",
    "SavedMapping",
    "StationDescription",
]
