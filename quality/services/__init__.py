"""Changes of the records' side: taking files in, deriving, reviewing, jobs."""

from quality.services.deriving import derived_refresh
from quality.services.importing import records_import
from quality.services.incoming import ImportOptions, LaneMatch, Preview
from quality.services.jobs import (
    import_discard,
    import_enqueue,
    import_look,
    import_receive,
    import_run,
    imports_reap,
)
from quality.services.previewing import records_preview
from quality.services.replacing import replacement_undo
from quality.services.reviewing import days_decide

__all__ = [
    "ImportOptions",
    "LaneMatch",
    "Preview",
    "days_decide",
    "derived_refresh",
    "import_discard",
    "import_enqueue",
    "import_look",
    "import_receive",
    "import_run",
    "imports_reap",
    "records_import",
    "records_preview",
    "replacement_undo",
]
