"""Files of taps through the upload machine."""

from grading.models import StiffnessReading
from grading.stiffness.queries import tap_table
from portal.uploads.actions import replace_stored
from tests.conftest import Place

HEAD = "board,resonance_hz,read_on,mass_kg,mc_pct\n"


def test_taps_are_stored_once_and_computed(material: Place) -> None:
    """B1 is 28 × 200 mm, 3 m long: 8.4 kg are 500 kg/m³, 800 Hz are 4800 m/s, together 11.52 GPa (computed)."""
    rows = "B1,800,2026-04-01,8.4,12\nB2,780,2026-04-01,9,\n"
    assert material.bring("stiffness", HEAD + rows, by="grader").added == 2
    again = material.bring("stiffness", HEAD + rows + "B3,900,2026-04-01,6,14\n", name="b.csv", by="grader")
    assert (again.added, again.already_there, again.held) == (1, 2, 0)
    found = tap_table(material.study).set_index("board")
    assert round(found.loc["B1", "moe12_gpa"], 4) == 11.52
    assert list(found["clone"]) == ["K1", "K1", "K1"]
    assert set(StiffnessReading.objects.values_list("read_by", flat=True)) == {"file"}


def test_another_reading_of_the_same_day_waits_and_may_replace(material: Place) -> None:
    material.bring("stiffness", HEAD + "B1,800,2026-04-01,8.4,12\n")
    upload = material.bring("stiffness", HEAD + "B1,810,2026-04-01,,\n", name="b.csv")
    replace_stored(upload_id=upload.pk, held_ids=[upload.held_rows.get().pk], by=material.people["manager"])
    tap = StiffnessReading.objects.get()
    assert (tap.resonance_hz, tap.mass_kg, tap.mc_pct) == (810, 8.4, 12)


def test_what_cannot_be_is_held(material: Place) -> None:
    head = "board,resonance_hz,harmonic,mass_kg,density_kg_m3\n"
    rows = "B9,800,1,8,\nB1,-5,1,8,\nB1,800,0,8,\nB2,800,1,8,500\nB3,,1,8,\nB4,800,1.5,8,\n"
    upload = material.bring("stiffness", head + rows)
    assert (upload.added, upload.held) == (0, 6)
    said = [held.problems[0]["column"] for held in upload.held_rows.order_by("row_number")]
    assert said == ["board", "resonance_hz", "harmonic", "density_kg_m3", "resonance_hz", "harmonic"]
