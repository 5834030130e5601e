"""Changes of what is in the road, one module a part of the work."""

from installs.services.answers import AnswerResult, answer_save
from installs.services.decisions import dispose, limit_set
from installs.services.paper import PaperAnswer, paper_save
from installs.services.photos import photo_add, photo_strike
from installs.services.plans import (
    curing_table_save,
    plan_approve,
    plan_new_version,
    plan_save,
    plan_start,
    work_settings_save,
)
from installs.services.records import (
    record_abandon,
    record_accept,
    record_edit,
    record_reject,
    record_start,
)
from installs.services.road import (
    ReadingInput,
    installation_end,
    sensor_install,
    sensor_save,
    technology_profile_save,
    test_record,
    tests_record_many,
)
from installs.services.signing import signoff_is_intact, stage_sign
from installs.services.visits import visit_log

__all__ = [
    "AnswerResult",
    "PaperAnswer",
    "ReadingInput",
    "answer_save",
    "curing_table_save",
    "dispose",
    "installation_end",
    "limit_set",
    "paper_save",
    "photo_add",
    "photo_strike",
    "plan_approve",
    "plan_new_version",
    "plan_save",
    "plan_start",
    "record_abandon",
    "record_accept",
    "record_edit",
    "record_reject",
    "record_start",
    "sensor_install",
    "sensor_save",
    "signoff_is_intact",
    "stage_sign",
    "technology_profile_save",
    "test_record",
    "tests_record_many",
    "visit_log",
    "work_settings_save",
]
