"""Saved mappings: how a kind of headed file is read, under a name."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from quality.models import RecordImport, SavedMapping
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason


@transaction.atomic
def mapping_save(*, record_import: RecordImport, name: str, by: Any) -> SavedMapping:
    """Keep the mapping that a received file was read with; an older one is replaced.

    Raises
    ------
    DomainError
        Without a name, or when the file was read without a mapping.
    """
    name = name.strip()
    if not name or len(name) > 80:
        raise DomainError("Give the mapping a name of at most 80 characters.")
    mapping = record_import.preview.get("mapping")
    if not mapping:
        raise DomainError(f"{record_import.source_name} was read without a mapping.")
    saved = SavedMapping.objects.filter(name=name).first() or SavedMapping(name=name)
    saved.mapping = mapping
    saved.headings = list(record_import.preview.get("headings") or [])
    save_with_reason(saved, by=by, why=f"from {record_import.source_name}"[:100])
    return saved


@transaction.atomic
def mapping_delete(*, saved: SavedMapping, by: Any) -> None:
    """Forget a saved mapping; files that were read with it keep theirs."""
    saved._history_user = by  # type: ignore[attr-defined]
    saved._change_reason = "not used any more"  # type: ignore[attr-defined]
    saved.delete()
