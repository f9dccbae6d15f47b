"""`manage.py import`: what the page “Bring a file” does, for those who write scripts."""

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction
from django.test import Client
from django.urls import reverse

from portal.models import HeldRow, Upload, User
from sawing.models import Board
from tests.conftest import BOARDS, PRICES, Place

TALLY = (
    "board,log,thickness_mm,width_mm,length_m,Remark\n"
    "N1,L1,28,100,3,first\nN2,NOLOG,28,100,3,\nN3,L1,28,-100,3,\nB1,L1,28,200,3,\nB2,L1,28,999,3,\n"
)
INTO = ["--trial", "small", "--study", "first"]


@dataclass(frozen=True)
class Run:
    code: int
    out: str
    err: str

    @property
    def answer(self) -> dict[str, Any]:
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found


def bring(kind: str, file: Path, *words: Any) -> Run:
    """The command with its exit code; call_command raises what would become the exit code of the process."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    try:
        call_command("import", kind, str(file), *map(str, words), stdout=out, stderr=err)
    except CommandError as error:
        code = error.returncode
        err.write(str(error))
    return Run(code, out.getvalue(), err.getvalue())


def held_rows(upload: Upload) -> list[Any]:
    return list(
        upload.held_rows.order_by("row_number").values_list("row_number", "values", "problems", "differs")
    )


@pytest.fixture
def tally(tmp_path: Path) -> Path:
    path = tmp_path / "tally.csv"
    path.write_text(TALLY)
    return path


def test_good_rows_are_added_and_the_others_held(material: Place, tally: Path) -> None:
    run = bring("boards", tally, *INTO, "--by", "mill", "--json")
    assert run.code == 0
    assert {k: run.answer[k] for k in ("stored", "added", "already_there", "held")} == {
        "stored": True,
        "added": 1,
        "already_there": 1,
        "held": 3,
    }
    assert [(p["file"], p["row"], p["column"]) for p in run.answer["problems"]] == [
        ("tally.csv", 3, "log"),
        ("tally.csv", 4, "width_mm"),
        ("tally.csv", 6, "width_mm"),
    ]
    upload = Upload.objects.get(file_name="tally.csv")
    assert (upload.by, upload.state, upload.study) == (material.people["mill"], "stored", material.study)


def test_command_and_page_do_the_same(material: Place, tally: Path) -> None:
    """Counts, held rows with their reasons, notes and stored rows are alike."""

    def outcome() -> tuple[Any, ...]:
        upload = Upload.objects.get(file_name="tally.csv")
        counts = (upload.rows, upload.added, upload.already_there, upload.held, upload.notes, upload.sha256)
        return (
            counts,
            held_rows(upload),
            list(Board.objects.filter(code="N1").values_list("width_mm", "notes")),
        )

    with transaction.atomic():
        assert bring("boards", tally, *INTO, "--by", "mill").code == 0
        by_command = outcome()
        transaction.set_rollback(True)
    client = Client()
    client.force_login(material.people["mill"])
    sent = {"kind": "boards", "place": "small/first", "file": SimpleUploadedFile("tally.csv", TALLY.encode())}
    preview = client.post(reverse("portal:bring_file"), sent)
    assert preview.status_code == 302
    pk = Upload.objects.get(file_name="tally.csv").pk
    assert client.post(reverse("portal:store_file", args=[pk])).status_code == 302
    assert outcome() == by_command


def test_a_dry_run_stores_nothing_and_says_the_same(material: Place, tally: Path) -> None:
    before = (Upload.objects.count(), Board.objects.count(), HeldRow.objects.count())
    files = sorted(Path(material.media or "").rglob("*"))
    dry = bring("boards", tally, *INTO, "--dry-run", "--json")
    assert (Upload.objects.count(), Board.objects.count(), HeldRow.objects.count()) == before
    assert sorted(Path(material.media or "").rglob("*")) == files
    wet = bring("boards", tally, *INTO, "--json")
    assert dry.code == 0
    assert dry.answer.pop("stored") is False
    assert {**dry.answer, "stored": True} == wet.answer


def test_the_same_file_twice_adds_nothing(material: Place, tally: Path) -> None:
    bring("boards", tally, *INTO)
    before = (Upload.objects.count(), Board.objects.count(), HeldRow.objects.count())
    again = bring("boards", tally, *INTO, "--json")
    assert again.code == 0
    assert (again.answer["stored"], again.answer["added"]) == (True, 0)
    assert "This very file was stored on" in again.answer["notes"][0]
    assert (Upload.objects.count(), Board.objects.count(), HeldRow.objects.count()) == before


def test_for_people_it_says_what_became_of_the_rows(material: Place, tally: Path) -> None:
    run = bring("boards", tally, *INTO)
    assert run.out.splitlines()[-1] == "added 1, already there 1, held 3"
    assert "tally.csv row 3, log: found NOLOG" in run.err
    assert bring("boards", tally, *INTO).out.splitlines()[-1] == "added 0, already there 5, held 0"


def test_what_cannot_be_read_ends_with_one_and_keeps_nothing(material: Place, tmp_path: Path) -> None:
    path = tmp_path / "picture.csv"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    before = Upload.objects.count()
    for words in ([], ["--dry-run"]):
        run = bring("boards", path, *INTO, "--json", *words)
        assert run.code == 1
        assert (run.answer["stored"], run.answer["added"]) == (False, 0)
        assert run.answer["problems"]
        assert "cannot be read" in run.err
    assert Upload.objects.count() == before


def test_a_price_list_with_a_bad_row_is_refused_entire(material: Place, tmp_path: Path) -> None:
    path = tmp_path / "prices.csv"
    path.write_text(PRICES + "look,Nothing,5,,,EUR\n")
    for words in (["--dry-run"], []):
        run = bring("prices", path, "--trial", "small", "--json", *words)
        assert run.code == 1
        assert "entire or not at all" in run.answer["refused"]
        assert [(p["row"], p["column"]) for p in run.answer["problems"]] == [(6, "grade")]
    assert material.trial.price_lists.count() == 1


@pytest.mark.parametrize("who", ["grader", "researcher", "stranger", "field_crew"])
@pytest.mark.parametrize("words", [[], ["--dry-run"]])
def test_only_those_who_may_bring_boards_do(material: Place, tally: Path, who: str, words: list[str]) -> None:
    run = bring("boards", tally, *INTO, "--by", who, *words)
    assert run.code == 1
    assert "needs one of these roles in the trial: manager, mill staff" in run.err
    assert not Upload.objects.filter(file_name="tally.csv").exists()


@pytest.mark.parametrize(
    ("kind", "words", "said"),
    [
        ("boards", ["--trial", "small"], "needs --study"),
        ("clones", INTO, "leave --study out"),
        ("boards", ["--trial", "none", "--study", "first"], "no trial is called 'none'"),
        ("boards", ["--trial", "small", "--study", "none"], "no study called 'none'"),
        ("boards", [*INTO, "--by", "nobody"], "no such user"),
    ],
)
def test_wrong_use_ends_with_two(
    material: Place, tally: Path, kind: str, words: list[str], said: str
) -> None:
    run = bring(kind, tally, *words)
    assert (run.code, run.out) == (2, "")
    assert said in run.err


def test_a_file_that_is_not_there_ends_with_two(material: Place, tmp_path: Path) -> None:
    assert bring("boards", tmp_path / "none.csv", *INTO).code == 2
    assert bring("boards", tmp_path, *INTO).code == 2


def test_a_file_that_is_too_large_ends_with_one_unread(
    material: Place, tmp_path: Path, settings: Any
) -> None:
    settings.UPLOAD_LIMIT_BYTES = 2 << 20
    path = tmp_path / "large.csv"
    with path.open("wb") as handle:
        handle.truncate(3 << 20)
    run = bring("boards", path, *INTO)
    assert run.code == 1
    assert "larger than 2 MB" in run.err


def test_the_history_names_the_person_and_the_command(material: Place, tally: Path) -> None:
    bring("boards", tally, *INTO, "--by", "mill")
    event = Board.pgh_event_model.objects.select_related("pgh_context").get(code="N1")
    assert event.pgh_context.metadata == {"user": material.people["mill"].pk, "command": "import"}


def test_without_a_name_the_first_steward_brings_it(material: Place, tally: Path) -> None:
    User.objects.create_user("another_steward", is_superuser=True)
    bring("boards", tally, *INTO)
    assert Upload.objects.get(file_name="tally.csv").by == material.people["steward"]


def test_all_six_kinds_can_be_brought(material: Place, tmp_path: Path) -> None:
    from tests.conftest import CLONES, GRADES, LAYOUT, LOGS

    texts = {
        "clones": CLONES,
        "layout": LAYOUT,
        "logs": LOGS,
        "boards": BOARDS,
        "grades": GRADES,
        "prices": PRICES,
    }
    for kind, text in texts.items():
        path = tmp_path / f"{kind}.csv"
        path.write_text(text + "\n")  # another file with the same rows
        words = INTO if kind in ("logs", "boards", "grades") else INTO[:2]
        run = bring(kind, path, *words, "--json")
        assert (run.code, run.answer["added"], run.answer["held"]) == (0, 0, 0), kind
        assert run.answer["already_there"] == text.count("\n") - 1
