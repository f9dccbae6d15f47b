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

from portal.models import User
from portal.uploads.actions import UploadRefused, check_upload, store_upload
from portal.uploads.examine import examine_file
from portal.uploads.registry import Target, kind_named, kinds


class Command(BaseCommand):
    help = "Check a file and store its good rows; the others are held. The same file twice adds nothing."

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
        data = self._read(options["file"])
        name = options["file"].name
        if options["dry_run"]:
            outcome = examine_file(kind, target, data, name)
            self._tell(options["json"], len(outcome.new), outcome.already_there, outcome.problems, outcome.notes, False)
            if outcome.unreadable:
                raise CommandError("The file cannot be read.", returncode=1)
            return
        try:
            with pghistory.context(user=by.pk, command="import"):
                upload = check_upload(kind_name=kind.file.name, target=target, file_name=name, data=data, by=by)
                if upload.state == "stored":
                    self.stdout.write(f"This very file was stored on {upload.stored_at:%Y-%m-%d %H:%M}: nothing to add.")
                    return
                upload = store_upload(upload_id=upload.pk, by=by)
        except UploadRefused as refused:
            for problem in refused.problems:
                self.stderr.write(_line(problem))
            raise CommandError(str(refused), returncode=1) from None
        except PermissionDenied as denied:
            raise CommandError(str(denied), returncode=1) from None
        problems = [p for h in upload.held_rows.order_by("row_number") for p in h.problems]
        self._tell(options["json"], upload.added, upload.already_there, problems, upload.notes, True)

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
        person = people.filter(username=name).first() if name else people.filter(is_superuser=True).first()
        if person is None:
            raise CommandError("no such user; give --by, or make a steward with createsuperuser", returncode=2)
        return person

    def _read(self, path: Path) -> bytes:
        try:
            if path.stat().st_size > settings.UPLOAD_LIMIT_BYTES:
                raise CommandError(f"{path} is larger than {settings.UPLOAD_LIMIT_BYTES >> 20} MB", returncode=1)
            return path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}", returncode=2) from None

    def _tell(self, as_json: bool, added: int, there: int, problems: list[Any], notes: list[str], done: bool) -> None:
        plain = [p if isinstance(p, dict) else p.to_dict() for p in problems]
        if as_json:
            self.stdout.write(
                json.dumps({"stored": done, "added": added, "already_there": there, "problems": plain, "notes": notes})
            )
            return
        for note in notes:
            self.stdout.write(f"note: {note}")
        for problem in plain:
            self.stderr.write(_line(problem))
        rows = len({p["row"] for p in plain})
        self.stdout.write(f"{'added' if done else 'would add'} {added}, already there {there}, held {rows}")


def _line(problem: Any) -> str:
    p = problem if isinstance(problem, dict) else problem.to_dict()
    place = ", ".join(str(x) for x in (f"row {p['row']}" if p["row"] else None, p["column"]) if x)
    return f"{p['file']}{' ' + place if place else ''}: found {p['found']}; expected {p['expected']}"
