"""`manage.py import KIND FILE --trial T [--study S] [--dry-run]`: what the upload page does."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

import pghistory
from django.apps import apps
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.management.base import BaseCommand, CommandError

from portal import access
from portal.models import User
from portal.uploads.actions import UploadRefused, check_upload, store_upload
from portal.uploads.examine import Outcome, examine_file
from portal.uploads.registry import Target, UploadKind, kind_named, kinds

NOTHING = {"stored": False, "added": 0, "already_there": 0, "held": 0, "problems": [], "notes": []}


class Command(BaseCommand):
    help = (
        "Check a file and store its good rows; the others are held and listed. The same file twice adds nothing."
        " Exit 0: done; 1: the file is refused and nothing is stored; 2: wrong use."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=[k.file.name for k in kinds()])
        parser.add_argument("file", type=Path)
        parser.add_argument("--trial", required=True, help="code of the trial")
        parser.add_argument("--study", help="code of the study, for logs, boards and grades")
        parser.add_argument("--by", help="user name of who brings the file (default: the first steward)")
        parser.add_argument("--dry-run", action="store_true", help="say what would be stored; store nothing")
        parser.add_argument("--json", action="store_true", help="one JSON object on stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        target, by = self._target(options), self._person(options["by"])
        kind = kind_named(options["kind"])
        if (kind.scope == "study") != (target.study is not None):
            needs = "needs --study" if kind.scope == "study" else "belongs to the trial: leave --study out"
            raise CommandError(f"{kind.file.name} {needs}", returncode=2)
        kind = kind.at(target)
        data, name = self._read(options["file"]), options["file"].name
        try:
            access.require(by, target.trial.pk, kind.roles)
            if options["dry_run"]:
                self._tell(options["json"], _said(examine_file(kind, target, data, name), kind, name))
                return
            with pghistory.context(user=by.pk, command="import"):
                upload = check_upload(
                    kind_name=kind.file.name, target=target, file_name=name, data=data, by=by
                )
                before = upload.stored_at
                if before is None:
                    upload = store_upload(upload_id=upload.pk, by=by)
        except (UploadRefused, PermissionDenied) as refused:
            problems = [p.to_dict() for p in getattr(refused, "problems", [])]
            self._tell(options["json"], {**NOTHING, "problems": problems, "refused": str(refused)})
            raise CommandError(str(refused), returncode=1) from None
        if before is not None:
            note = f"This very file was stored on {before:%Y-%m-%d %H:%M}: nothing to add."
            self._tell(
                options["json"], {**NOTHING, "stored": True, "already_there": upload.rows, "notes": [note]}
            )
            return
        held = upload.held_rows.order_by("row_number")
        answer = {
            "stored": True,
            "added": upload.added,
            "already_there": upload.already_there,
            "held": len(held),
        }
        problems = [p for h in held for p in h.problems]
        self._tell(options["json"], {**NOTHING, **answer, "problems": problems, "notes": upload.notes})

    def _target(self, options: dict[str, Any]) -> Target:
        trial = apps.get_model("trials", "Trial").objects.filter(code=options["trial"]).first()
        if trial is None:
            raise CommandError(f"no trial is called {options['trial']!r}", returncode=2)
        if not options["study"]:
            return Target(trial)
        study = apps.get_model("sawing", "Study").objects.filter(trial=trial, code=options["study"]).first()
        if study is None:
            raise CommandError(f"{trial.code} has no study called {options['study']!r}", returncode=2)
        return Target(trial, study)

    def _person(self, name: str | None) -> User:
        people = User.objects.filter(is_active=True)
        person = (
            people.filter(username=name).first()
            if name
            else people.filter(is_superuser=True).order_by("pk").first()
        )
        if person is None:
            raise CommandError(
                "no such user; give --by, or make a steward with createsuperuser", returncode=2
            )
        return person

    def _read(self, path: Path) -> bytes:
        try:
            if path.stat().st_size > settings.UPLOAD_LIMIT_BYTES:
                raise CommandError(
                    f"{path} is larger than {settings.UPLOAD_LIMIT_BYTES >> 20} MB", returncode=1
                )
            return path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}", returncode=2) from None

    def _tell(self, as_json: bool, answer: dict[str, Any]) -> None:
        if as_json:
            self.stdout.write(json.dumps(answer, ensure_ascii=False))
            return
        for note in answer["notes"]:
            self.stdout.write(f"note: {note}")
        for problem in answer["problems"]:
            self.stderr.write(_line(problem))
        if "refused" not in answer:
            verb = "added" if answer["stored"] else "would add"
            counts = f"already there {answer['already_there']}, held {answer['held']}"
            self.stdout.write(f"{verb} {answer['added']}, {counts}")


def _said(outcome: Outcome, kind: UploadKind, file_name: str) -> dict[str, Any]:
    """What storing would do. UploadRefused where storing would be refused."""
    if outcome.unreadable:
        raise UploadRefused(f"{file_name} cannot be read.", outcome.problems)
    if kind.whole and outcome.held:
        raise UploadRefused(f"{kind.file.title} are stored entire or not at all.", outcome.problems)
    counts = {"added": len(outcome.new), "already_there": outcome.already_there, "held": len(outcome.held)}
    return {**NOTHING, **counts, "problems": [p.to_dict() for p in outcome.problems], "notes": outcome.notes}


def _line(p: dict[str, Any]) -> str:
    place = ", ".join(str(x) for x in (f"row {p['row']}" if p["row"] else None, p["column"]) if x)
    return f"{p['file']}{' ' + place if place else ''}: found {p['found']}; expected {p['expected']}"
