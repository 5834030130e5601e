"""Work that a worker does: `manage.py db_worker` runs these."""

from __future__ import annotations

from django_tasks import task

from quality.services import import_run


@task()
def take_in(record_import_id: int) -> None:
    """Take a received file of records in."""
    import_run(record_import_id)


def send_import(record_import_id: int) -> None:
    """Hand a record import to the workers."""
    take_in.enqueue(record_import_id)
