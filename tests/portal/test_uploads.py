"""The shared upload machine: checked first, stored once, the rest held until settled."""

import pytest
from django.core.exceptions import PermissionDenied

from portal.models import HeldRow, Upload
from portal.uploads.actions import (
    UploadRefused,
    check_upload,
    discard_upload,
    mend_rows,
    replace_stored,
    set_aside,
    store_upload,
)
from portal.uploads.registry import Target
from tests.conftest import BOARDS, LOGS, PRICES, Place

BAD_TALLY = (
    "board,log,thickness_mm,width_mm,length_m\n"
    "N1,L1,28,100,3\nN2,NOLOG,28,100,3\nN3,L1,28,-100,3\nB1,L1,28,201,3\nN1,L1,28,90,3\n"
)


def test_checking_stores_no_rows(full: Place) -> None:
    before = full.study.boards.count()
    upload = check_upload(
        kind_name="boards",
        target=full.target("boards"),
        file_name="x.csv",
        data=BAD_TALLY.encode(),
        by=full.people["mill"],
    )
    assert (upload.state, upload.added, upload.held) == ("checked", 1, 4)
    assert full.study.boards.count() == before
    assert HeldRow.objects.count() == 0


def test_good_rows_are_stored_and_the_others_held_with_reasons(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY, by="mill")
    assert (upload.added, upload.already_there, upload.held) == (1, 0, 4)
    held = {h.row_number: h for h in upload.held_rows.all()}
    assert set(held) == {3, 4, 5, 6}
    assert held[3].problems[0]["column"] == "log"
    assert "at least 5 mm" in held[4].problems[0]["expected"]
    assert held[5].differs
    assert "200" in held[5].problems[0]["expected"]
    assert "row 2" in held[6].problems[0]["expected"]
    assert held[3].values["board"] == "N2"


def test_the_same_file_twice_adds_nothing(full: Place) -> None:
    first = Upload.objects.get(kind="boards")
    again = full.bring("boards", BOARDS)
    assert again.pk == first.pk
    assert full.study.boards.count() == 7


def test_the_same_rows_in_another_file_are_already_there(full: Place) -> None:
    upload = full.bring("boards", BOARDS.replace("\n", "\r\n"))
    assert (upload.added, upload.already_there, upload.held) == (0, 7, 0)


def test_empty_cells_say_nothing_about_stored_values(full: Place) -> None:
    upload = full.bring("boards", "board,log,thickness_mm,width_mm,length_m,flitch,piece\nB1,L1,28,200,3,,\n")
    assert (upload.added, upload.already_there, upload.held) == (0, 1, 0)


def test_boards_brought_again_do_not_count_twice_against_their_log(full: Place) -> None:
    """A tally that repeats most of a log's boards, each already stored, is not more wood than the log holds."""
    wide = "board,log,thickness_mm,width_mm,length_m\n" + "".join(f"W{i},L2,28,250,3\n" for i in range(4))
    assert full.bring("boards", wide).held == 0
    upload = full.bring("boards", wide + "W9,L2,28,100,1\n")
    assert (upload.added, upload.already_there, upload.held) == (1, 4, 0)


def test_more_boards_than_log_are_held_counting_what_is_stored(full: Place) -> None:
    """L2 has 0.1660 m3 (Smalian) and 0.0269 m3 in stored boards: 0.1470 m3 more is too much, alone it is not."""
    more = "board,log,thickness_mm,width_mm,length_m\n" + "".join(f"W{i},L2,28,250,3\n" for i in range(7))
    upload = full.bring("boards", more)
    assert (upload.added, upload.held) == (0, 7)
    assert full.study.boards.count() == 7


def test_mended_rows_are_stored_and_settled(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY, by="mill")
    by = full.people["mill"]
    rows = {h.row_number: h.pk for h in upload.held_rows.all()}
    stored, waiting = mend_rows(
        upload_id=upload.pk,
        rows={rows[3]: {"log": "L3"}, rows[4]: {"width_mm": "abc"}, rows[6]: {"board": "N9"}},
        by=by,
    )
    assert (stored, waiting) == (2, 1)
    assert set(full.study.boards.filter(code__startswith="N").values_list("code", "log__code")) == {
        ("N1", "L1"),
        ("N2", "L3"),
        ("N9", "L1"),
    }
    still = HeldRow.objects.get(pk=rows[4])
    assert still.state == "waiting"
    assert still.values["width_mm"] == "abc"
    assert still.problems[0]["found"] == "abc"
    assert HeldRow.objects.get(pk=rows[3]).settled_by == by


def test_replacing_keeps_the_old_values_in_the_history(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY)
    held = upload.held_rows.get(differs=True)
    assert replace_stored(upload_id=upload.pk, held_ids=[held.pk], by=full.people["manager"]) == 1
    board = full.study.boards.get(code="B1")
    assert board.width_mm == 201
    events = board.events.order_by("pgh_id").values_list("pgh_label", "width_mm", "state")
    assert list(events) == [("added", 200, "sawn"), ("changed", 200, "graded"), ("changed", 201, "graded")]


def test_rows_with_problems_cannot_replace_anything(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY)
    bad = upload.held_rows.get(row_number=4)
    assert replace_stored(upload_id=upload.pk, held_ids=[bad.pk], by=full.people["manager"]) == 0


def test_rows_set_aside_stay_on_record(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY)
    ids = list(upload.held_rows.values_list("pk", flat=True))
    assert set_aside(upload_id=upload.pk, held_ids=ids, by=full.people["manager"]) == 4
    assert upload.held_rows.filter(state="set_aside").count() == 4
    assert set_aside(upload_id=upload.pk, held_ids=ids, by=full.people["manager"]) == 0


def test_a_mended_file_settles_the_rows_it_was_made_from(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY)
    held = upload.held_rows.get(row_number=3)
    mended = (
        "board,log,thickness_mm,width_mm,length_m,problem,held_row\n"
        f"N2,L3,28,100,3,log: found NOLOG,{held.pk}\n"
    )
    assert full.bring("boards", mended).added == 1
    held.refresh_from_db()
    assert held.state == "stored"
    assert full.study.boards.get(code="N2").notes is None


def test_extra_columns_are_kept_as_notes(full: Place) -> None:
    full.bring("boards", "board,log,thickness_mm,width_mm,length_m,Remark\nX1,L1,28,100,1,split end\n")
    assert full.study.boards.get(code="X1").notes == {"Remark": "split end"}


def test_a_price_list_is_stored_entire_or_not_at_all(full: Place) -> None:
    with pytest.raises(UploadRefused, match="entire or not at all"):
        full.bring("prices", PRICES + "look,Nothing,5,,,EUR\n", name="bad.csv")
    assert full.trial.price_lists.count() == 1
    upload = full.bring("prices", PRICES.replace("200,,,EUR", "210,,,EUR"), name="new.csv")
    assert upload.added == 4
    current = full.trial.price_lists.get(current=True)
    assert (current.version, current.prices.count()) == (2, 4)


def test_a_price_list_that_says_nothing_new_makes_no_version(full: Place) -> None:
    full.bring("prices", PRICES.replace("\n", "\r\n"), name="again.csv")
    assert full.trial.price_lists.count() == 1


def test_an_unreadable_file_leaves_nothing_behind(full: Place) -> None:
    with pytest.raises(UploadRefused) as refused:
        full.bring("boards", b"\x89PNG\r\n\x1a\n" + bytes(200))
    assert refused.value.problems
    assert Upload.objects.filter(kind="boards").count() == 1


def test_a_checked_file_can_be_set_aside(full: Place) -> None:
    upload = check_upload(
        kind_name="boards",
        target=full.target("boards"),
        file_name="x",
        data=BAD_TALLY.encode(),
        by=full.people["mill"],
    )
    assert discard_upload(upload_id=upload.pk, by=full.people["mill"]).state == "discarded"
    assert store_upload(upload_id=upload.pk, by=full.people["mill"]).state == "discarded"
    assert full.study.boards.count() == 7


@pytest.mark.parametrize("role", ["stranger", "researcher", "field_crew", "grader"])
def test_only_mill_and_managers_bring_boards(full: Place, role: str) -> None:
    with pytest.raises(PermissionDenied):
        full.bring("boards", BAD_TALLY, by=role)


def test_others_cannot_settle_rows(full: Place) -> None:
    upload = full.bring("boards", BAD_TALLY)
    ids = list(upload.held_rows.values_list("pk", flat=True))
    for role in ("grader", "stranger"):
        by = full.people[role]
        with pytest.raises(PermissionDenied):
            set_aside(upload_id=upload.pk, held_ids=ids, by=by)
        with pytest.raises(PermissionDenied):
            mend_rows(upload_id=upload.pk, rows={ids[0]: {"log": "L1"}}, by=by)
        with pytest.raises(PermissionDenied):
            replace_stored(upload_id=upload.pk, held_ids=ids, by=by)


def test_boards_need_a_study(full: Place) -> None:
    with pytest.raises(UploadRefused, match="belong to a study"):
        check_upload(
            kind_name="boards",
            target=Target(full.trial),
            file_name="x",
            data=BOARDS.encode(),
            by=full.people["mill"],
        )


def test_a_log_cannot_be_cut_from_a_tree_of_another_study(full: Place) -> None:
    from sawing.actions import create_study

    other = create_study(trial=full.trial, code="second", name="Second", by=full.people["manager"])
    upload = check_upload(
        kind_name="logs",
        target=Target(full.trial, other),
        file_name="logs.csv",
        data=LOGS.replace("L1,", "M1,").encode(),
        by=full.people["mill"],
    )
    assert (upload.added, upload.held) == (0, 3)


def test_a_stored_board_does_not_move_to_another_log(full: Place) -> None:
    upload = full.bring("boards", "board,log,thickness_mm,width_mm,length_m\nB1,L2,28,200,3\n")
    assert upload.held == 1
    assert "misread" in upload.held_rows.get().problems[0]["expected"]


def test_two_trees_never_stand_on_one_address(full: Place) -> None:
    upload = full.bring("layout", "site,block,plot,clone,tree,row,col\nS,1,1,K1,NEW,1,1\n", name="more.csv")
    assert upload.held == 1
    assert "S-1-1 stands there" in upload.held_rows.get().problems[0]["expected"]


def test_trees_with_logs_are_felled_and_graded_boards_are_graded(full: Place) -> None:
    assert set(full.trial.trees.filter(status="felled").values_list("code", flat=True)) == {
        "S-1-1",
        "S-1-2",
        "S-2-2",
    }
    assert set(full.study.boards.filter(state="graded").values_list("code", flat=True)) == {
        "B1",
        "B2",
        "B4",
        "B6",
    }


def test_held_rows_sent_again_unmended_wait_once(full: Place) -> None:
    """Sent back as downloaded they keep their place; the same rows in another file do not wait twice."""
    upload = full.bring("boards", BAD_TALLY)
    held = {h.row_number: h for h in upload.held_rows.all()}
    assert full.bring("boards", BAD_TALLY.replace("\n", "\r\n")).held == 0
    again = f"board,log,thickness_mm,width_mm,length_m,held_row\nN3,L1,28,-90,3,{held[4].pk}\n"
    second = full.bring("boards", again)
    assert (second.added, second.held) == (0, 0)
    held[4].refresh_from_db()
    assert held[4].values["width_mm"] == "-90"
    assert HeldRow.objects.filter(state="waiting").count() == 4


def test_a_formula_for_a_code_stays_held_however_often_it_is_sent(full: Place) -> None:
    """Downloads guard such a cell with an apostrophe; read back it is the same formula, not a code."""
    head = "board,log,thickness_mm,width_mm,length_m\n"
    assert full.bring("boards", head + '"=HYPERLINK(1)",L1,28,100,1\n').held == 1
    assert full.bring("boards", head + '"\'=HYPERLINK(1)",L1,28,100,1\n').added == 0
    assert full.study.boards.count() == 7


@pytest.mark.parametrize("code", ["..", "a/../b", "a//b", "/a"])
def test_codes_that_would_bend_an_address_are_held(full: Place, code: str) -> None:
    upload = full.bring("boards", f"board,log,thickness_mm,width_mm,length_m\n{code},L1,28,100,1\n")
    assert (upload.added, upload.held) == (0, 1)


def test_a_log_is_not_measured_smaller_than_its_boards(full: Place) -> None:
    """L1 has 0.0443 m3 in stored boards; with 60 mm ends it would have 0.0085 m3 of wood."""
    upload = full.bring("logs", LOGS.splitlines()[0] + "\nL1,S-1-1,0.3,3.0,60,60\n", name="anew.csv")
    held = upload.held_rows.get()
    assert not replace_stored(upload_id=upload.pk, held_ids=[held.pk], by=full.people["manager"])
    assert "at least the volume of its boards" in held.problems[0]["expected"]
    assert full.study.logs.get(code="L1").sed1_mm == 300


def test_rows_that_name_a_held_row_say_where_it_waits(full: Place) -> None:
    full.bring("logs", LOGS.splitlines()[0] + "\nL9,S-1-1,0.3,3.0,-60,60\n", name="more_logs.csv")
    upload = full.bring("boards", "board,log,thickness_mm,width_mm,length_m\nX,L9,28,100,1\n")
    assert "more_logs.csv row 2" in upload.held_rows.get().problems[0]["expected"]
