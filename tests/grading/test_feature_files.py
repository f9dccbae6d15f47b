"""Files of features through the upload machine: kept as brought, sent again, replaced, held with reasons."""

from grading.gradable import feature_frame, gradable_boards, rules_of
from grading.models import BoardFeature, RuleSet
from portal.uploads.actions import replace_stored
from tests.conftest import Place

HEAD = "board,kind,face,x_mm,y_mm,length_mm,width_mm,size_mm,note\n"
FILE = (
    HEAD + "B1,dead_knot,face1,900,60,20,18,,with bark\nB1,check,face2,2500,100,180,2,,\n"
    "B1,wane,edge1,,,,,0,\nB2,knots,piece,,,,,0,\n"
)


def test_features_are_stored_once(material: Place) -> None:
    upload = material.bring("features", FILE, by="grader")
    assert (upload.added, upload.held) == (4, 0)
    again = material.bring("features", FILE + "B2,wane,edge2,,,,,0,\n", name="more.csv", by="grader")
    assert (again.added, again.already_there, again.held) == (1, 4, 0)
    knot = BoardFeature.objects.get(kind="dead_knot")
    assert (knot.x_mm, knot.y_mm, knot.width_mm, knot.size_mm, knot.note) == (900, 60, 18, None, "with bark")
    assert knot.by == material.people["grader"]


def test_another_size_at_the_same_place_waits_and_may_replace(material: Place) -> None:
    material.bring("features", FILE)
    upload = material.bring("features", HEAD + "B1,dead_knot,face1,900,60,20,25,,\n", name="b.csv")
    held = upload.held_rows.get()
    replace_stored(upload_id=upload.pk, held_ids=[held.pk], by=material.people["manager"])
    knot = BoardFeature.objects.get(kind="dead_knot")
    assert (knot.width_mm, knot.note) == (25, "with bark")
    upload = material.bring("features", HEAD + "B1,wane,edge1,,,,,7,\n", name="c.csv")
    replace_stored(upload_id=upload.pk, held_ids=[upload.held_rows.get().pk], by=material.people["manager"])
    assert BoardFeature.objects.get(kind="wane").size_mm == 7


def test_what_cannot_be_is_held_with_its_reason(material: Place) -> None:
    rows = (
        "B1,gnarl,face1,1,1,,3,,\nB1,dead_knot,side,1,1,,3,,\nB1,dead_knot,face1,3500,1,,3,,\n"
        "B1,dead_knot,face1,100,20,,400,,\nB1,knots,piece,,,,,12,\nB9,dead_knot,face1,1,1,,3,,\n"
        "B1,dead_knot,face1,100,-1,,3,,\nB1,dead_knot,face1,100,50,,,,\n"
    )
    upload = material.bring("features", HEAD + rows)
    assert (upload.added, upload.held) == (0, 8)
    said = [" ".join(p["column"] for p in held.problems) for held in upload.held_rows.order_by("row_number")]
    assert said == ["kind", "face", "x_mm", "width_mm", "kind", "board", "y_mm", "size_mm"]


def test_the_rules_see_what_counts(material: Place) -> None:
    material.bring("features", FILE)
    BoardFeature.objects.filter(kind="check").update(set_aside=True)
    found = feature_frame(material.study.boards.all())
    assert sorted(found["kind"]) == ["dead_knot", "knots", "wane"]
    assert len(gradable_boards(material.study.boards.all())) == 7
    assert rules_of(RuleSet.objects.get(code="look")) is None
