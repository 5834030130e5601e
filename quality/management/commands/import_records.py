"""``manage.py import_records PATH… [--dry-run]``."""

from __future__ import annotations

import json
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.contrib.auth import get_user_model

from quality.models import RecordFile, SavedMapping
from quality.services import ImportOptions, Preview, records_import, records_preview
from wimprog.lib.commands import EXIT_DONE, EXIT_WANTING, ProgramCommand
from wimprog.lib.errors import Complaint, DomainError

SHOWN_LINES = 20


class Command(ProgramCommand):
    """Take files of vehicle records into the program."""

    help = (
        "Take files of vehicle records in, each all or nothing. A file already held is "
        "recognised by its content, so a call that was stopped goes on where it was "
        "when it is made again. Exit status: 0 all taken (or held already; with "
        "--dry-run: all could be taken), 1 at least one was refused, 2 the call is "
        "wrong."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "paths",
            nargs="+",
            type=Path,
            metavar="PATH",
            help="file, or folder whose files are taken in name order",
        )
        parser.add_argument(
            "--dry-run",
            action="store_true",
            help="say what would happen and store nothing",
        )
        parser.add_argument(
            "--json", action="store_true", help="print one JSON document"
        )
        parser.add_argument(
            "--site",
            default="",
            metavar="CODE",
            help="site of files that carry no station, or a new station "
            "as state and identifier (99-000014)",
        )
        parser.add_argument(
            "--direction",
            default="",
            choices=list("0123456789"),
            help="direction code of files that carry none",
        )
        parser.add_argument(
            "--mapping",
            default="",
            metavar="NAME",
            help="saved mapping, or JSON file, that says which CSV column holds what",
        )
        parser.add_argument(
            "--held-days",
            default="",
            choices=["keep", "replace"],
            help="keep days that are held already, or replace them; without it such "
            "files are refused",
        )
        parser.add_argument(
            "--reason", default="", help="why held days are replaced; it is kept"
        )
        parser.add_argument(
            "--as-user",
            default="",
            metavar="NAME",
            help="who decides that held days are replaced",
        )
        parser.add_argument(
            "--stop-on-refusal",
            action="store_true",
            help="stop at the first file that is refused",
        )
        parser.add_argument(
            "--open-field",
            default="not used",
            choices=["not used", "speed, mph", "speed, km/h"],
            help="what the record's three open columns hold",
        )
        parser.add_argument(
            "--known-sites-only",
            action="store_true",
            help="refuse files of lanes that are not in the program",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        self.need_database()
        how = ImportOptions(
            mapping=self._mapping(options["mapping"]),
            site_code=options["site"],
            direction=options["direction"],
            new_sites=not options["known_sites_only"],
            open_field=options["open_field"],
            held_days=options["held_days"],
            held_reason=options["reason"],
        )
        self.by = self._user(options["as_user"], how)
        results = []
        files = self._files(options["paths"])
        begun, done_bytes = time.monotonic(), 0
        for place, path in enumerate(files, start=1):
            result = self._one(path, how, dry_run=options["dry_run"])
            results.append(result)
            done_bytes += path.stat().st_size
            if not options["json"]:
                self._tell(result)
                rate = done_bytes / 1e6 / max(time.monotonic() - begun, 1e-3)
                self.stderr.write(f"{place} of {len(files)} files, {rate:,.1f} MB/s")
            if result["outcome"] == "refused" and options["stop_on_refusal"]:
                break
        if options["json"]:
            self.print_json({"dry_run": options["dry_run"], "files": results})
        refused = any(result["outcome"] == "refused" for result in results)
        sys.exit(EXIT_WANTING if refused else EXIT_DONE)

    def _user(self, name: str, how: ImportOptions) -> Any:
        if not name:
            if how.held_days == "replace":
                self.refuse("Say with --as-user who decides that days are replaced.")
            return None
        user = get_user_model().objects.filter(username=name, is_active=True).first()
        if user is None:
            self.refuse(f"There is no user {name}.")
        if how.held_days == "replace" and not user.has_perm(
            "quality.add_recordreplacement"
        ):
            self.refuse(f"{name} may not replace deliveries.")
        return user

    def _mapping(self, name: str) -> dict[str, Any] | None:
        if not name:
            return None
        saved = SavedMapping.objects.filter(name=name).first()
        if saved is not None:
            return dict(saved.mapping)
        path = Path(name)
        try:
            data = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            self.refuse(f"The mapping {path} cannot be read: {error}.")
        if not isinstance(data, dict):
            self.refuse(f"The mapping {path} must be a JSON object.")
        return data

    def _files(self, paths: list[Path]) -> list[Path]:
        found: list[Path] = []
        for path in paths:
            if path.is_dir():
                found += sorted(
                    one
                    for one in path.rglob("*")
                    if one.is_file() and not one.name.startswith(".")
                )
            elif path.is_file():
                found.append(path)
            else:
                self.refuse(f"There is no file or folder {path}.")
        if not found:
            self.refuse("The folder holds no files.")
        return found

    def _one(self, path: Path, how: ImportOptions, *, dry_run: bool) -> dict[str, Any]:
        result: dict[str, Any] = {"path": str(path), "message": "", "complaints": []}
        try:
            preview = records_preview(path, options=how)
            result |= self._figures(preview)
            if preview.already_in is not None:
                held = RecordFile.objects.get(pk=preview.already_in)
                message = f"held already, as {held.source_name}"
                return result | {"outcome": "held", "message": message}
            if preview.obstacles:
                message = " ".join(preview.obstacles)
                return result | {"outcome": "refused", "message": message}
            if dry_run:
                return result | {"outcome": "would be taken"}
            record_file = records_import(
                path, options=how, by=self.by, why="import_records on the command line"
            )
            return result | {"outcome": "taken", "record_file": record_file.pk}
        except DomainError as error:
            complaints = [self._complaint(one) for one in error.complaints]
            return result | {
                "outcome": "refused",
                "message": error.message,
                "complaints": complaints or result["complaints"],
            }

    def _figures(self, preview: Preview) -> dict[str, Any]:
        return {
            "layout": preview.layout,
            "sentence": preview.sentence,
            "read": preview.n_read,
            "kept": preview.n_kept,
            "refused": preview.n_refused,
            "first_on": preview.first_on,
            "last_on": preview.last_on,
            "lanes": [
                {
                    "name": lane.name,
                    "records": lane.n_records,
                    "new": lane.lane_id is None,
                }
                for lane in preview.lanes
            ],
            "complaints": [self._complaint(one) for one in preview.complaints],
            "notes": list(preview.notes),
        }

    def _complaint(self, complaint: Complaint) -> dict[str, Any]:
        return complaint.as_dict() | {"text": str(complaint)}

    def _tell(self, result: dict[str, Any]) -> None:
        self.stdout.write(f"{result['path']}: {result['outcome']}")
        for part in (result.get("sentence"), result["message"]):
            if part:
                self.stdout.write(f"  {part}")
        for note in result.get("notes", []):
            self.stdout.write(f"  {note}")
        made = [lane["name"] for lane in result.get("lanes", []) if lane["new"]]
        if made and result["outcome"] in ("taken", "would be taken"):
            self.stdout.write(
                f"  Not in the program before, and made from this file as planned: "
                f"{', '.join(made)}. Complete their entries."
            )
        for complaint in result["complaints"][:SHOWN_LINES]:
            self.stdout.write(f"  {complaint['text']}")
        rest = len(result["complaints"]) - SHOWN_LINES
        if rest > 0:
            self.stdout.write(f"  … and {rest} more; --json prints them all.")
