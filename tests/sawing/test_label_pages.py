"""Label sheets on pages: made, printed, put on; codes read, understood, linked; and everything refused."""

import html
import io
import os
import re
from typing import Any

import numpy as np
import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from portal.codes.symbols import label_symbol
from portal.jobs.running import run
from portal.models import Job
from sawing.actions import create_study
from sawing.calc.label_code import LabelCode, encode
from sawing.calc.label_lattice import Slice
from sawing.labels import actions
from sawing.labels.print_job import file_of
from sawing.labels.queries import read_texts, sheets_of
from sawing.models import Board, BoardCode, Felling, LabelSheet, Log, LogSerial
from tests.conftest import Place
from tests.pdf_pages import pages_of
from trials.actions import create_trial
from trials.models import Tree

WANTED = {"which": "all", "thickness_mm": "25", "width_mm": "100", "torn_mm": "1"}
STUDY = ("small", "first")


def client(place: Place, who: str = "mill") -> Client:
    made = Client()
    made.force_login(place.people[who])
    return made


def url(name: str, *more: Any) -> str:
    return reverse(f"sawing:{name}", args=[*STUDY, *more])


def words(response: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return html.unescape(re.sub(r"\s+", " ", text)).replace("\xa0", " ").replace("\u202f", " ")


def make(place: Place, **more: str) -> Any:
    return client(place).post(url("labels"), WANTED | more, follow=True)


def sheet(log: str = "L1", end: str = "butt") -> LabelSheet:
    return LabelSheet.objects.get(serial__log__code=log, end=end, serial__retired_at__isnull=True)


def code_of(on: LabelSheet, row: int, col: int) -> LabelCode:
    return LabelCode(on.serial.number, int(on.end == "top"), row, col)


def middle(on: LabelSheet) -> int:
    return on.rows // 2


@pytest.fixture
def labelled(material: Place) -> Place:
    """Every log has its sheets."""
    make(material)
    return material


# sheets are made


def test_every_log_gets_a_number_and_a_sheet_for_each_end(material: Place) -> None:
    page = make(material)
    assert "Sheets for 3 logs are made; every board keeps at least 11 whole codes" in words(page)
    assert list(LogSerial.objects.order_by("number").values_list("number", "log__code")) == [
        (1, "L1"), (2, "L2"), (3, "L3"),
    ]  # fmt: skip
    assert LabelSheet.objects.count() == 6
    butt, top = sheet("L1"), sheet("L1", "top")
    assert (butt.dots, butt.fewest_codes, butt.diameter_mm, top.diameter_mm) == (7, 11, 330, 300)
    assert butt.rows == butt.cols == 43  # 350 mm ÷ 8.297 mm = 42.2 cells, and an odd number
    assert butt.pitch_mm == pytest.approx(8.297, abs=0.001)


def test_logs_keep_their_sheets(labelled: Place) -> None:
    before = list(LabelSheet.objects.values_list("pk", "pitch_mm"))
    page = make(labelled, thickness_mm="38")
    assert "3 logs had sheets already" in words(page)
    assert list(LabelSheet.objects.values_list("pk", "pitch_mm")) == before
    refused = client(labelled).post(url("labels"), WANTED | {"which": "without"})
    assert refused.status_code == 422
    assert "No log is among these" in words(refused)


def test_new_sheets_retire_the_old_number_and_never_give_it_again(labelled: Place) -> None:
    make(labelled, which="chosen", log="L2", anew="on", thickness_mm="38")
    numbers = LogSerial.objects.filter(log__code="L2").order_by("number")
    assert [(s.number, s.retired_at is None) for s in numbers] == [(2, False), (4, True)]
    assert sheet("L2").dots == 10  # thicker boards take coarser modules
    old = encode(2, 0, 15, 15)
    (read,) = read_texts(labelled.study, [old])
    assert read.log == Log.objects.get(code="L2")
    assert "retired" not in read.problem


def test_numbers_are_one_row_over_all_studies(labelled: Place) -> None:
    by = labelled.people["manager"]
    other = create_study(trial=labelled.trial, code="second", name="Second", by=by)
    felling = Felling.objects.create(study=other, tree=Tree.objects.get(code="S-2-1"))
    log = Log.objects.create(
        study=other, felling=felling, code="M1", bottom_m=0.3, length_m=3, sed1_mm=300, led1_mm=320
    )
    made = actions.make_sheets(study=other, by=by, logs=[log], board=Slice(25, 100, 1))
    assert made.sheets[0].serial.number == 4


def test_chosen_logs_only(material: Place) -> None:
    make(material, which="chosen", log="L3")
    assert set(LogSerial.objects.values_list("log__code", flat=True)) == {"L3"}


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        ({"thickness_mm": "12", "width_mm": "60"}, "keeps 0 whole codes at the least"),
        ({"thickness_mm": "16", "width_mm": "60"}, "a thickness of 18 mm or a width of 75 mm would do"),
        ({"torn_mm": "9", "thickness_mm": "18"}, "nothing is left"),
        ({"thickness_mm": "x"}, "Enter a number"),
        ({"width_mm": "5"}, "greater than or equal to 20"),
        ({"which": "chosen"}, "tick logs in the list"),
    ],
)
def test_what_gives_no_guarantee_is_refused_with_reasons(
    material: Place, wanted: dict[str, str], said: str
) -> None:
    answer = client(material).post(url("labels"), WANTED | wanted)
    assert answer.status_code == 422
    assert said in words(answer)
    assert not LogSerial.objects.exists()


def test_ticks_stay_when_a_size_is_mistyped(material: Place) -> None:
    wrong = WANTED | {"which": "chosen", "thickness_mm": "x", "log": ["L2"]}
    page = client(material).post(url("labels"), wrong).content.decode()
    assert re.findall(r'value="(L\d)" form="make" aria-label="Log L\d" checked', page) == ["L2"]


def test_an_end_too_large_is_refused_and_the_others_are_made(material: Place) -> None:
    Log.objects.filter(code="L2").update(led1_mm=620)
    page = words(make(material))
    assert "Sheets for 2 logs are made" in page
    assert "Log L2: an end of 620 mm takes 79 × 79 cells of 8.3 mm" in page


def test_a_study_without_logs_says_what_to_do(material: Place) -> None:
    create_study(trial=material.trial, code="second", name="Second", by=material.people["manager"])
    page = client(material).get(reverse("sawing:labels", args=["small", "second"]))
    assert "Bring the log measurements of the study first" in words(page)


def test_the_list_downloads_without_ticks(labelled: Place) -> None:
    member = client(labelled)
    assert b'name="log" value="L1"' in member.get(url("labels")).content
    lines = member.get(url("labels"), {"download": "csv"}).content.decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Log,Clone,")
    assert [line.split(",")[0] for line in lines[1:]] == ["L1", "L2", "L3"]
    assert "<input" not in "".join(lines)


# printing


def printed(place: Place, **sent: Any) -> list[Any]:
    answer = client(place).post(url("print_labels"), sent)
    assert answer["Content-Type"] == "application/pdf"
    return pages_of(answer.content)


def test_both_ends_of_chosen_logs_are_printed_and_that_is_kept(labelled: Place) -> None:
    text = " ".join(page.text for page in printed(labelled, log="L2"))
    assert "Log L2, butt end, serial number 00002" in text
    assert "Log L2, top end, serial number 00002" in text
    assert "L1" not in text
    assert sheet("L2").printed_at is not None
    assert sheet("L1").printed_at is None


def test_all_are_printed_when_none_is_ticked(labelled: Place) -> None:
    text = " ".join(page.text for page in printed(labelled))
    assert all(f"Log {log}, {end} end" in text for log in ("L1", "L2", "L3") for end in ("butt", "top"))


def test_printing_again_keeps_the_first_day(labelled: Place) -> None:
    printed(labelled, log="L1")
    first = sheet("L1").printed_at
    printed(labelled, log="L1")
    assert sheet("L1").printed_at == first


def test_there_is_nothing_to_print_before_sheets_are_made(material: Place) -> None:
    assert "No sheet is made for these logs yet" in words(
        client(material).post(url("print_labels"), follow=True)
    )


def test_many_sheets_are_printed_by_a_job(labelled: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sawing.labels.views.MOST_PRINTED", 4)
    member = client(labelled)
    answer = member.post(url("print_labels"))
    job = Job.objects.get()
    assert answer["Location"] == reverse("portal:job", args=[job.pk])
    assert sheet("L3").printed_at is not None
    assert member.get(job.link)["Location"] == answer["Location"], "not made yet: the job is shown"
    run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.result, job.done, job.total) == ("done", {"sheets": 6}, 6, 6)
    pdf = b"".join(client(labelled, "grader").get(job.link).streaming_content)
    text = " ".join(page.text for page in pages_of(pdf))
    assert all(f"Log {log}, {end} end" in text for log in ("L1", "L2", "L3") for end in ("butt", "top"))
    assert client(labelled, "stranger").get(job.link).status_code == 404
    other = create_study(trial=labelled.trial, code="second", name="Second", by=labelled.people["manager"])
    wrong = reverse("sawing:label_file", args=["small", other.code, job.parameters["file"]])
    assert member.get(wrong).status_code == 404


def test_a_printed_file_is_kept_for_a_week(labelled: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sawing.labels.views.MOST_PRINTED", 1)
    member = client(labelled)
    member.post(url("print_labels"), {"log": "L1"})
    first = Job.objects.get()
    run(first.pk)
    path = file_of(first.parameters["file"])
    os.utime(path, (1, 1))
    member.post(url("print_labels"), {"log": "L2"})
    run(Job.objects.latest("pk").pk)
    assert not path.exists()
    assert member.get(first.link).status_code == 404


def test_one_sheet_is_printed_from_its_page(labelled: Place) -> None:
    answer = client(labelled).post(url("label_sheet", sheet("L3", "top").pk), {"do": "print"})
    assert {"Log L3, top end, serial number 00003" in page.text for page in pages_of(answer.content)} == {
        True
    }


# put on


def put_on(place: Place, on: LabelSheet, **sent: str) -> Any:
    return client(place).post(url("label_sheet", on.pk), sent, follow=True)


def test_the_code_over_the_pith_is_kept(labelled: Place) -> None:
    on = sheet()
    page = put_on(labelled, on, pith=code_of(on, 20, 23).text, turned_deg="-4", note="north at 90°")
    assert "The butt end of log L1 is labelled." in words(page)
    on = sheet()
    assert (on.pith_row, on.pith_col, on.turned_deg, on.note) == (20, 23, -4, "north at 90°")
    assert on.put_on_at is not None
    assert "B-20-23" in words(page)


@pytest.mark.parametrize(
    ("end", "serial", "row", "said"),
    [("top", 1, 20, "top end"), ("butt", 2, 20, "log number 00002"), ("butt", 1, 60, "43 × 43 cells")],
)
def test_a_pith_code_of_another_sheet_is_refused(
    labelled: Place, end: str, serial: int, row: int, said: str
) -> None:
    answer = put_on(labelled, sheet(), pith=encode(serial, int(end == "top"), row, 20))
    assert answer.status_code == 422
    assert said in words(answer)
    assert sheet().pith_row is None


def test_a_pith_code_that_is_none_is_refused(labelled: Place) -> None:
    assert "check digit" in words(put_on(labelled, sheet(), pith="0000081921"))


# codes are understood


def scan(place: Place, who: str = "grader", **asked: Any) -> str:
    return words(client(place, who).get(url("scan_labels"), asked))


def test_a_code_says_log_end_cell_place_and_height(labelled: Place) -> None:
    """L1 is 3.0 m long from 0.3 m: its top end is at 3.3 m. Twelve cells of 8.297 mm from the pith: 99.6 mm, of
    150 mm radius 0.66: still the middle third; the thirteenth, 107.9 mm or 0.72, is outer."""
    on = sheet("L1", "top")
    row = middle(on)
    put_on(labelled, on, pith=code_of(on, row, row).text)
    page = scan(labelled, code=code_of(on, row, row + 12).text)
    assert f"none yet middle 100 L1 top T-{row:02d}-{row + 12:02d} 3.30" in page
    assert "none yet outer 108" in scan(labelled, code=code_of(on, row + 13, row).text)
    assert "none yet inner 0" in scan(labelled, code=code_of(on, row, row).text)


def test_the_pith_moves_the_place(labelled: Place) -> None:
    on = sheet("L1")
    put_on(labelled, on, pith=code_of(on, 18, 18).text)
    (read,) = read_texts(labelled.study, [code_of(on, 18, 28).text])
    assert read.place is not None
    assert (read.place.x_mm, read.place.y_mm) == pytest.approx((82.97, 0), abs=0.05)
    assert read.height_m == pytest.approx(0.3)


def test_columns_of_both_ends_count_alike(labelled: Place) -> None:
    """The same cell is at the same place of the log's own axes at both ends, whatever side it is looked at."""
    for end in ("butt", "top"):
        on = sheet("L1", end)
        at = middle(on)
        put_on(labelled, on, pith=code_of(on, at, at).text)
        (read,) = read_texts(labelled.study, [code_of(on, at - 3, at + 5).text])
        assert read.place is not None
        assert (read.place.x_mm, read.place.y_mm) == pytest.approx((41.5, 24.9), abs=0.05)


def test_before_the_pith_is_read_the_page_says_so(labelled: Place) -> None:
    assert "pith not read yet" in scan(labelled, code=code_of(sheet(), 20, 20).text)


def test_codes_scanned_one_after_the_other_stay_in_sight(labelled: Place) -> None:
    first, second = code_of(sheet(), 20, 15), code_of(sheet(), 20, 25)
    page = scan(labelled, seen=first.text, code=second.text)
    assert first.text in page
    assert second.text in page
    assert "From the two codes furthest apart" in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("1234", "has 4 digits"),
        ("0000081921", "check digit does not fit"),
        ("hello", "ten digits"),
        (encode(77, 0, 1, 1), "no log of this study has a butt end sheet number 00077"),
        (encode(1, 0, 60, 60), "43 × 43 cells"),
        ("<script>alert(1)</script>", "ten digits"),
    ],
)
def test_codes_that_say_nothing(labelled: Place, typed: str, said: str) -> None:
    answer = client(labelled).get(url("scan_labels"), {"code": typed})
    assert answer.status_code == 200
    assert said in words(answer)
    assert b"<script>alert" not in answer.content


def test_a_code_typed_in_groups(labelled: Place) -> None:
    text = code_of(sheet(), 20, 20).text
    assert "B-20-20" in scan(labelled, code=f" {text[:3]} {text[3:6]} {text[6:]} ")


def test_codes_of_another_trials_log_tell_nothing(labelled: Place) -> None:
    steward = labelled.people["steward"]
    trial = create_trial(code="other", name="Other trial", by=steward)
    study = create_study(trial=trial, code="first", name="Theirs", by=steward)
    (read,) = read_texts(study, [code_of(sheet(), 20, 20).text])
    assert read.sheet is None
    assert "L1" not in read.problem


def test_a_board_by_its_cell_in_the_tally_or_by_its_own_code(labelled: Place) -> None:
    on = sheet()
    Board.objects.filter(code="B1").update(cell="B-20-20")
    Board.objects.filter(code="B2").update(code=code_of(on, 22, 22).text)
    by_cell, by_code, none = read_texts(labelled.study, [code_of(on, r, r).text for r in (20, 22, 24)])
    assert (by_cell.board.code, by_code.board.code, none.board) == ("B1", code_of(on, 22, 22).text, None)
    assert "by the tally" in scan(labelled, code=by_cell.text)


def test_a_study_without_sheets_says_what_to_do(material: Place) -> None:
    assert "Make the sheets first" in scan(material)


# photos


def photo_of(codes: list[LabelCode], kind: str = "JPEG") -> SimpleUploadedFile:
    strip = np.hstack(
        [np.kron(np.where(np.pad(label_symbol(c.text), 2), 0, 255), np.ones((7, 7))) for c in codes]
    )
    out = io.BytesIO()
    Image.fromarray(np.pad(strip, 40, constant_values=200).astype(np.uint8)).save(out, kind)
    return SimpleUploadedFile("end.jpg", out.getvalue(), "image/jpeg")


def test_every_code_of_a_photo_is_read(labelled: Place) -> None:
    codes = [code_of(sheet(), 20, col) for col in (15, 18, 21)]
    page = client(labelled, "grader").post(
        url("scan_labels"), {"photo": photo_of(codes), "do": "photo"}, follow=True
    )
    text = words(page)
    assert "3 codes read in the photo" in text
    assert all(code.text in text for code in codes)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"not a photo", "JPEG, PNG or WebP"),
        (b"\xff\xd8\xff\xe0 broken", "photo"),
    ],
)
def test_files_that_are_no_photo(labelled: Place, data: bytes, said: str) -> None:
    file = SimpleUploadedFile("end.jpg", data, "image/jpeg")
    page = client(labelled).post(url("scan_labels"), {"photo": file, "do": "photo"}, follow=True)
    assert page.status_code == 200
    assert said in words(page)


def test_a_photo_without_codes_and_no_photo(labelled: Place) -> None:
    out = io.BytesIO()
    Image.fromarray(np.full((300, 400), 180, np.uint8)).save(out, "PNG")
    blank = SimpleUploadedFile("x.png", out.getvalue())
    assert "No code could be read" in words(
        client(labelled).post(url("scan_labels"), {"photo": blank, "do": "photo"}, follow=True)
    )
    assert "Choose a photo first" in words(
        client(labelled).post(url("scan_labels"), {"do": "photo"}, follow=True)
    )


# linking


def link(place: Place, codes: list[LabelCode], board: str = "B1", who: str = "mill", **more: str) -> str:
    sent = {"seen": [c.text for c in codes], "board": board, "do": "link", "read_by": "photo", **more}
    answer = client(place, who).post(url("scan_labels"), sent, follow=True)
    return words(answer)


def test_codes_are_linked_to_a_board_and_found_again(labelled: Place) -> None:
    on = sheet()
    codes = [code_of(on, 20, 12), code_of(on, 20, 28)]
    assert "2 codes linked to board B1" in link(labelled, codes)
    assert list(BoardCode.objects.values_list("board__code", "row", "col", "read_by")) == [
        ("B1", 20, 12, "photo"), ("B1", 20, 28, "photo"),
    ]  # fmt: skip
    assert BoardCode.objects.first().by == labelled.people["mill"]
    page = scan(labelled, seen=[c.text for c in codes])
    assert "Board B1 , butt end of L1" in page
    assert "Its end face in thirds of the radius" in page


def test_linking_again_adds_nothing(labelled: Place) -> None:
    codes = [code_of(sheet(), 20, 12)]
    link(labelled, codes)
    assert "0 codes linked" in link(labelled, codes)
    assert BoardCode.objects.count() == 1


def test_a_code_is_on_one_board_only(labelled: Place) -> None:
    first, second = code_of(sheet(), 20, 12), code_of(sheet(), 20, 13)
    link(labelled, [first])
    assert f"Code {first.text} is linked to board B1: take it off there first" in link(
        labelled, [second, first], "B2"
    )
    assert BoardCode.objects.count() == 1, "all or none"


def test_codes_of_another_log_are_refused(labelled: Place) -> None:
    assert "is of another log than board B4" in link(labelled, [code_of(sheet(), 20, 12)], "B4")
    assert "Choose the board first" in link(labelled, [code_of(sheet(), 20, 12)], "NONE")
    assert "No code was read" in link(labelled, [])
    assert not BoardCode.objects.exists()


def test_a_link_made_by_mistake_is_taken_off(labelled: Place) -> None:
    code = code_of(sheet(), 20, 12)
    link(labelled, [code])
    pk = BoardCode.objects.get().pk
    page = words(
        client(labelled).post(url("scan_labels"), {"do": f"off-{pk}", "seen": code.text}, follow=True)
    )
    assert "taken off board B1" in page
    assert "1 code linked to board B2" in link(labelled, [code], "B2")


def test_codes_of_two_logs_are_not_offered_for_one_board(labelled: Place) -> None:
    page = scan(labelled, "mill", seen=[code_of(sheet("L1"), 20, 12).text, code_of(sheet("L2"), 15, 12).text])
    assert "The codes are of several logs" in page


def test_codes_too_far_apart_for_their_board_are_said(labelled: Place) -> None:
    codes = [code_of(sheet(), 20, 2), code_of(sheet(), 20, 40)]
    link(labelled, codes)
    assert "315 mm apart cannot be on one board of 28 × 200 mm" in scan(
        labelled, seen=[c.text for c in codes]
    )


def test_boards_named_by_their_labels_are_linked_at_once(labelled: Place) -> None:
    on = sheet()
    Board.objects.filter(code="B1").update(code=code_of(on, 22, 22).text)
    Board.objects.filter(code="B2").update(code=encode(3, 0, 20, 20))  # a code of another log
    Board.objects.filter(code="B3").update(code="1646683859")  # no code at all
    assert "3 boards without a code have codes that look like a label’s" in words(
        client(labelled).get(url("labels"))
    )
    page = words(client(labelled).post(url("link_named_boards"), follow=True))
    assert "1 board linked to the code that names them" in page
    assert BoardCode.objects.get().board.code == code_of(on, 22, 22).text


def test_sheets_printed_elsewhere_are_recorded(material: Place) -> None:
    def record(numbers: dict[str, int]) -> int:
        return actions.record_sheets(
            study=material.study,
            by=material.people["mill"],
            numbers=numbers,
            board=Slice(25, 100, 1),
            cells=61,
            pith_cell=(30, 30),
        )

    assert record({"L1": 20101, "L2": 20102}) == 2
    assert record({"L1": 20101, "L2": 20102, "L3": 20103}) == 1
    (read,) = read_texts(material.study, [encode(20101, 0, 30, 40)])
    assert read.place is not None
    assert read.place.distance_mm == pytest.approx(82.97, abs=0.05)
    with pytest.raises(actions.LabelsRefusedError, match="Not in the study: L9"):
        record({"L9": 5})
    made = make(material, anew="on", which="chosen", log="L3")
    assert "Sheets for 1 log are made" in words(made)
    assert sheet("L3").serial.number == 20104


# who may


@pytest.mark.parametrize("who", ["grader", "field_crew"])
def test_those_who_only_read(labelled: Place, who: str) -> None:
    on = sheet()
    code = code_of(on, 20, 20)
    assert "B-20-20" in scan(labelled, who, code=code.text)
    page = client(labelled, who).get(url("labels")).content
    assert b"Make sheets" not in page
    assert client(labelled, who).post(url("labels"), WANTED).status_code == 403
    assert client(labelled, who).post(url("print_labels")).status_code == 403
    assert client(labelled, who).post(url("label_sheet", on.pk), {"pith": code.text}).status_code == 403
    assert (
        client(labelled, who)
        .post(url("scan_labels"), {"seen": code.text, "board": "B1", "do": "link"})
        .status_code
        == 403
    )
    assert client(labelled, who).post(url("link_named_boards")).status_code == 403


@pytest.mark.parametrize("who", ["grader", "field_crew", "researcher", "stranger"])
def test_actions_ask_for_the_role_themselves(labelled: Place, who: str) -> None:
    by, on = labelled.people[who], sheet()
    board = Board.objects.get(code="B1")
    for write in (
        lambda: actions.make_sheets(study=labelled.study, by=by, logs=[], board=Slice(25, 100, 1)),
        lambda: actions.mark_printed(study=labelled.study, by=by, sheets=[on]),
        lambda: actions.put_on(sheet=on, by=by, pith=code_of(on, 1, 1)),
        lambda: actions.link_codes(board=board, by=by, codes=[code_of(on, 1, 1)]),
        lambda: actions.link_boards_named_by_labels(study=labelled.study, by=by),
        lambda: actions.record_sheets(
            study=labelled.study, by=by, numbers={}, board=Slice(25, 100, 1), cells=3, pith_cell=(1, 1)
        ),
    ):
        with pytest.raises(PermissionDenied):
            write()


def test_questions_to_the_database_do_not_grow_with_the_logs(
    labelled: Place, django_assert_max_num_queries: Any
) -> None:
    member = client(labelled)
    for name, limit in (("labels", 20), ("scan_labels", 22)):
        asked = {"seen": [code_of(on, 15, col).text for on in sheets_of(labelled.study) for col in (10, 12)]}
        with django_assert_max_num_queries(limit):
            assert member.get(url(name), asked).status_code == 200
