"""Changes of the records' side: taking files in, deriving, reviewing, jobs."""

from quality.services.deriving import derived_refresh
from quality.services.importing import (
    ImportOptions,
    LaneMatch,
    Preview,
    records_import,
    records_preview,
)
from quality.services.jobs import (
    import_discard,
    import_enqueue,
    import_receive,
    import_run,
    imports_reap,
)
from quality.services.reviewing import days_decide

__all__ = [
    "ImportOptions",
    "LaneMatch",
    "Preview",
    "days_decide",
    "derived_refresh",
    "import_discard",
    "import_enqueue",
    "import_receive",
    "import_run",
    "imports_reap",
    "records_import",
    "records_preview",
]
