"""Papers of an installation: the blank field sheet and the as-built record."""

from installs.papers.as_built import as_built_pdf
from installs.papers.field_sheet import field_sheet_pdf

__all__ = ["as_built_pdf", "field_sheet_pdf"]
