"""Pages of docking: outlines brought and traced, plans shown and kept, planned beside cut, scenarios in a job."""

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.jobs.running import run
from sawing.actions import create_study
from sawing.calc.dock_compare import Pieces, difference, summed
from sawing.docking.actions import save_tracing
from sawing.docking.forms import RulesForm
from sawing.docking.ways import first_rules, grid_step, rules_from, scenario_from, usual_ways
from sawing.models import Flitch, LabelSheet, LogSerial, PlanComparison, ScenarioTable
from tests.conftest import Place

STUDY = ("small", "first")
TAPER = "flitch,log,thickness_mm,x_mm,left_mm,right_mm\n1,L3,28,0,0,205\n1,L3,28,4000,0,155\n"
PLANNED = 175 * 2000 + 150 * 1900


def url(name: str, *more: Any) -> str:
    return reverse(f"sawing:{name}", args=[*STUDY, *more])


@pytest.fixture
def mill(material: Place, client: Client) -> Client:
    client.force_login(material.people["mill"])
    return client


def flitch_of(place: Place, log: str, code: str) -> Flitch:
    return Flitch.objects.get(study=place.study, log__code=log, code=code)


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode().replace("\xa0", " ")


# Outlines ----------------------------------------------------------------------------------------------------


def test_a_file_of_outlines_is_stored_by_flitch(material: Place) -> None:
    upload = material.bring("flitches", TAPER, by="mill")
    stored = flitch_of(material, "L3", "1")
    assert upload.added == 2
    assert stored.outline_from == "measured"
    assert stored.outline == [
        {"x_mm": 0.0, "left_mm": 0.0, "right_mm": 205.0},
        {"x_mm": 4000.0, "left_mm": 0.0, "right_mm": 155.0},
    ]
    again = material.bring("flitches", TAPER + "\n", name="again.csv", by="mill")
    assert (again.added, again.already_there) == (0, 2)


def test_a_new_outline_takes_the_place_of_the_old_one_whole(material: Place) -> None:
    material.bring("flitches", TAPER, by="mill")
    shorter = TAPER.replace("4000,0,155", "3000,0,160") + "1,L3,28,3500,0,150\n"
    material.bring("flitches", shorter, name="new.csv", by="mill")
    stored = flitch_of(material, "L3", "1")
    assert [s["x_mm"] for s in stored.outline or []] == [0.0, 3000.0, 3500.0]


@pytest.mark.parametrize(
    ("rows", "column"),
    [
        ("1,L3,28,0,0,200\n1,L3,28,0,0,150\n", "flitch"),
        ("1,L3,28,0,0,200\n", "x_mm"),
        ("1,L3,28,9,0,200\n1,L3,28,3,0,150\n", "x_mm"),
        ("1,L9,28,0,0,200\n1,L9,28,3000,0,150\n", "log"),
        ("1,L3,28,0,0,200\n1,L3,29,3000,0,150\n", "thickness_mm"),
        ("1,L3,28,0,0,200\n1,L3,28,9000,0,150\n", "x_mm"),
    ],
    ids=["twice", "one station", "falling", "no such log", "two thicknesses", "longer than its log"],
)
def test_outlines_with_a_fault_are_stored_entire_or_not_at_all(
    material: Place, rows: str, column: str
) -> None:
    from portal.uploads.actions import UploadRefused

    good = "2,L3,28,0,0,200\n2,L3,28,4000,0,150\n"
    with pytest.raises(UploadRefused) as refused:
        material.bring("flitches", TAPER.splitlines()[0] + "\n" + rows + good, by="mill")
    assert column in {p.column for p in refused.value.problems}
    assert not Flitch.objects.filter(study=material.study, outline__isnull=False).exists()


def test_a_tracing_makes_the_flitch(mill: Client, material: Place) -> None:
    sent = {
        "log": "L2",
        "flitch": "9",
        "thickness_mm": "28",
        "stations": "0, 0, 200\n1500 2 180\n\n2900; 0; 150.5",
    }
    answer = mill.post(url("dock_trace"), sent)
    stored = flitch_of(material, "L2", "9")
    assert answer["Location"] == url("dock_flitch", stored.pk)
    assert (stored.outline_from, len(stored.outline or [])) == ("traced", 3)
    begun = page(mill, f"{url('dock_trace')}?flitch={stored.pk}")
    assert "1500, 2, 180" in begun


@pytest.mark.parametrize(
    "stations", ["", "0,0,200", "0,0,200\n1,2", "0,0,200\nx,0,1", "9,0,200\n0,0,200", "0,0,200\nnan,0,200"]
)
def test_a_tracing_that_is_no_outline_is_refused_with_its_reason(
    mill: Client, material: Place, stations: str
) -> None:
    sent = {"log": "L2", "flitch": "9", "thickness_mm": "28", "stations": stations}
    answer = mill.post(url("dock_trace"), sent)
    assert answer.status_code == 422
    assert "stations" in answer.context["form"].errors
    assert not Flitch.objects.filter(study=material.study, code="9").exists()


def test_only_mill_and_managers_write(material: Place, client: Client) -> None:
    row = flitch_of(material, "L3", "1")
    client.force_login(material.people["grader"])
    assert client.get(url("dock_flitch", row.pk)).status_code == 200
    assert client.get(url("dock_trace")).status_code == 403
    assert client.post(url("dock_flitch", row.pk)).status_code == 403
    assert client.post(url("dock_scenarios"), {"name": "x", "ways": "0", "wide_mm": 200}).status_code == 403
    outline = rules = docked = None
    from django.core.exceptions import PermissionDenied

    from sawing.docking.actions import keep_result, start_scenarios

    with pytest.raises(PermissionDenied):
        save_tracing(study=material.study, log=row.log, flitch=outline, by=material.people["grader"])  # type: ignore[arg-type]
    with pytest.raises(PermissionDenied):
        keep_result(
            row=row,
            outline=outline,
            source="stored",
            rules=rules,
            docked=docked,
            by=material.people["grader"],
        )  # type: ignore[arg-type]
    with pytest.raises(PermissionDenied):
        start_scenarios(
            study=material.study, name="x", ways=[], wide_mm=200, link=str, by=material.people["grader"]
        )


# One flitch --------------------------------------------------------------------------------------------------


def test_a_flitch_is_docked_by_the_plan_of_its_study(mill: Client, material: Place) -> None:
    """Taper 205 to 155 over 4 m: as the closed form of 200 to 150, with 5 mm to spare."""
    material.study.widths_mm, material.study.thicknesses_mm = [100, 125, 150, 175, 200], [25]
    material.study.save()
    material.bring("flitches", TAPER, by="mill")
    row = flitch_of(material, "L3", "1")
    answer = mill.get(url("dock_flitch", row.pk))
    docked = answer.context["docked"]
    assert docked.thickness_mm == 25
    assert docked.volume_m3 * 1e9 / 25 >= PLANNED
    assert [way["name"] for way in answer.context["ways"]][:2] == [
        "Edged whole, no dock",
        "Docked at half its length",
    ]
    text = answer.content.decode()
    assert "<svg" in text
    assert "flitch-board" in text


def test_settings_stand_in_the_address(mill: Client, material: Place) -> None:
    material.bring("flitches", TAPER, by="mill")
    row = flitch_of(material, "L3", "1")
    asked = {"widths": "150", "max_docks": "0", "min_length_mm": "1000", "price": "300"}
    answer = mill.get(url("dock_flitch", row.pk), asked)
    docked = answer.context["docked"]
    assert [b.widths_mm for b in docked.boards] == [(150.0,)]
    assert docked.value == pytest.approx(docked.volume_m3 * 300)
    wrong = mill.get(url("dock_flitch", row.pk), {"widths": "wide", "max_docks": "7"})
    assert wrong.status_code == 422
    assert set(wrong.context["form"].errors) == {"widths", "max_docks"}
    odd = mill.get(
        url("dock_flitch", row.pk), {"widths": "150", "min_length_mm": "3000", "max_length_mm": "2000"}
    )
    assert odd.status_code == 422
    assert "max_length_mm" in odd.context["form"].errors


def test_a_plan_is_kept_once_with_outline_and_rules(mill: Client, material: Place) -> None:
    material.bring("flitches", TAPER, by="mill")
    row = flitch_of(material, "L3", "1")
    address = url("dock_flitch", row.pk) + "?widths=150%2C+175&max_docks=1"
    for _ in range(2):
        assert mill.post(address).status_code == 302
    kept = row.dock_results.get()
    assert kept.outline == row.outline
    assert kept.rules["widths_mm"] == [150.0, 175.0]
    assert kept.result["volume_m3"] == kept.volume_m3 > 0
    assert kept.by.username == "mill"
    mill.post(url("dock_flitch", row.pk) + "?widths=150&max_docks=1")
    assert row.dock_results.count() == 2
    assert "Plans kept" in page(mill, address)


def test_without_an_outline_the_log_predicts_one(mill: Client, material: Place) -> None:
    row = flitch_of(material, "L1", "2")
    answer = mill.get(url("dock_flitch", row.pk))
    assert answer.context["source"] == "predicted"
    assert "centred on the log, which is a guess" in answer.content.decode()
    mill.post(url("dock_flitch", row.pk))
    assert row.dock_results.get().outline_from == "predicted"


def test_a_flitch_with_neither_outline_nor_number_says_what_to_do(mill: Client, material: Place) -> None:
    row = Flitch.objects.create(
        study=material.study, log=material.study.logs.get(code="L1"), code="slab", thickness_mm=28
    )
    text = page(mill, url("dock_flitch", row.pk))
    assert "This flitch has no outline" in text
    assert mill.post(url("dock_flitch", row.pk)).status_code == 200
    assert not row.dock_results.exists()


def test_boards_keep_their_ends_where_labels_trace_them(mill: Client, material: Place) -> None:
    assert first_rules(material.study, by_labels=False)["keep_end"] == "none"
    log = material.study.logs.get(code="L3")
    serial = LogSerial.objects.create(number=77, log=log)
    LabelSheet.objects.create(
        serial=serial,
        end="butt",
        rows=40,
        cols=40,
        dots=7,
        pitch_mm=8.3,
        diameter_mm=320,
        thickness_mm=25,
        width_mm=100,
        torn_mm=1,
        fewest_codes=14,
    )
    row = flitch_of(material, "L3", "1")
    answer = mill.get(url("dock_flitch", row.pk))
    assert answer.context["keeps_ends"]
    assert all(b.start_mm == 0 or b.end_mm == 4000 for b in answer.context["docked"].boards)


# Planned and cut ---------------------------------------------------------------------------------------------


def test_parts_of_a_difference_add_up() -> None:
    """Plan 2.0 m x 200 and 1.9 m x 150 of 25; cut 3.0 m x 150 of 25: by hand 0.017125 - 0.01125 = 0.005875 m3."""
    plan = Pieces(((2000, 200, 25), (1900, 150, 25)))
    cut = Pieces(((3000, 150, 25),))
    found = difference(plan, cut)
    assert found.total_m3 == pytest.approx(0.017125 - 0.01125, rel=1e-12)
    assert found.lengths_m3 + found.widths_m3 + found.thickness_m3 == pytest.approx(found.total_m3, rel=1e-9)
    mean_width = 685_000 / 3900
    assert found.lengths_m3 == pytest.approx(900 * (mean_width + 150) / 2 * 25 / 1e9, rel=1e-9)
    assert found.thickness_m3 == 0
    thin = difference(plan, Pieces(((3000, 150, 22),)))
    assert thin.thickness_m3 > 0
    assert thin.lengths_m3 + thin.widths_m3 + thin.thickness_m3 == pytest.approx(thin.total_m3, rel=1e-9)
    nothing = difference(plan, Pieces(()))
    assert nothing.lengths_m3 == nothing.total_m3 == pytest.approx(0.017125)
    assert summed([found, nothing]).total_m3 == pytest.approx(found.total_m3 + nothing.total_m3)


def test_the_best_plan_stands_beside_what_was_cut(mill: Client, material: Place) -> None:
    material.bring("flitches", TAPER, by="mill")
    answer = mill.get(url("dock_compare"))
    text = answer.content.decode()
    assert text.count("predicted from the log") >= 6
    assert "measured" in text
    total = answer.context["total"]
    assert total.cut_m3 == pytest.approx(sum(b.volume_m3 for b in material.study.boards.all()), rel=1e-9)
    assert total.lengths_m3 + total.widths_m3 + total.thickness_m3 == pytest.approx(total.total_m3, rel=1e-9)


def test_a_plan_that_makes_no_rules_is_told_not_crashed_on(mill: Client, material: Place) -> None:
    material.study.min_length_mm, material.study.max_length_mm = 5050, 5080
    material.study.save()
    assert "min_length_mm" in page(mill, url("dock_compare"))
    answer = mill.get(url("dock_flitch", flitch_of(material, "L3", "1").pk))
    assert answer.status_code == 422
    assert "min_length_mm" in answer.context["form"].errors
    mill.post(url("dock_scenarios"), {"name": "Docks", "ways": ["0"], "wide_mm": "200"})
    table = ScenarioTable.objects.get()
    assert table.job is not None
    run(table.job.pk)
    table.job.refresh_from_db()
    assert "min_length_mm" in table.job.problem


def test_empty_pages_say_what_to_do_first(mill: Client, material: Place) -> None:
    create_study(trial=material.trial, code="second", name="Second", by=material.people["manager"])

    def second(name: str) -> str:
        return page(mill, reverse(f"sawing:{name}", args=["small", "second"]))

    assert "bring the log measurements of the study first" in second("dock")
    assert "Nothing to compare yet" in second("dock_compare")
    assert "No logs yet" in second("dock_scenarios")
    assert "No logs yet" in second("dock_trace")


def test_the_list_tells_where_outlines_come_from(mill: Client, material: Place) -> None:
    material.bring("flitches", TAPER, by="mill")
    text = page(mill, url("dock"))
    assert text.count("predicted from the log") >= 6
    assert ">measured<" in text.replace(" ", "").replace("\n", "")


# Scenarios ---------------------------------------------------------------------------------------------------


def test_scenarios_are_worked_out_by_a_job(mill: Client, material: Place) -> None:
    answer = mill.post(url("dock_scenarios"), {"name": "Docks", "ways": ["0", "1", "2"], "wide_mm": "180"})
    table = ScenarioTable.objects.get()
    assert answer["Location"] == url("dock_scenario_table", table.pk)
    assert table.job is not None
    assert "Waits for a worker" in page(mill, answer["Location"])
    run(table.job.pk)
    table.refresh_from_db()
    table.job.refresh_from_db()
    assert table.job.state == "done"
    assert table.job.total == 9
    rows = table.result["rows"] if table.result else []
    assert [row["name"] for row in rows] == [way["name"] for way in table.parameters["ways"]]
    assert rows[1]["recovery"] <= rows[0]["recovery"] <= rows[2]["recovery"]
    text = page(mill, answer["Location"])
    assert "at most two docks" in text
    assert "3 logs" in text
    csv = mill.get(answer["Location"] + "?download=csv")
    assert csv.status_code == 200
    first = json.dumps(table.result, sort_keys=True)
    run(table.job.pk)
    table.refresh_from_db()
    assert json.dumps(table.result, sort_keys=True) == first


def test_logs_over_bark_without_a_factor_are_named(mill: Client, material: Place) -> None:
    material.study.logs.update(bark="over")
    mill.post(url("dock_scenarios"), {"name": "Docks", "ways": ["0"], "wide_mm": "200"})
    table = ScenarioTable.objects.get()
    assert table.job is not None
    run(table.job.pk)
    table.job.refresh_from_db()
    assert table.job.state == "failed"
    assert "bark factor" in table.job.problem


def test_nothing_chosen_is_refused(mill: Client, material: Place) -> None:
    answer = mill.post(url("dock_scenarios"), {"name": "", "wide_mm": "0"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"name", "ways", "wide_mm"}


def test_usual_ways_can_all_be_sawn(material: Place) -> None:
    ways = usual_ways(material.study, by_labels=True)
    assert len({way["name"] for way in ways}) == len(ways) >= 10
    said = [json.dumps([way["pattern"], way["rules"]], sort_keys=True) for way in ways]
    assert len(set(said)) == len(said)
    for way in json.loads(json.dumps(ways)):
        assert scenario_from(way).rules.keep_end in ("each", "none")


@pytest.mark.parametrize(
    ("module", "step"), [(100, 25), (300, 25), (250, 25), (50, 25), (20, 20), (110, 27.5)]
)
def test_the_grid_divides_the_length_module(module: float, step: float) -> None:
    assert grid_step(module) == step


def test_the_forms_rules_are_those_of_the_file(material: Place) -> None:
    first = first_rules(material.study, by_labels=False)
    form = RulesForm({"widths": "100", "wane_edge_pct": "25", "wane_width_pct": "3"}, first=first)
    assert form.is_valid()
    assert form.rules == rules_from(form.given())
    assert form.rules is not None
    assert (form.rules.wane_edge_share, form.rules.wane_width_share) == (0.25, 0.03)


# Planned and cut, kept ---------------------------------------------------------------------------------------


def test_a_comparison_is_kept_and_computed_anew_only_after_a_change(
    mill: Client, material: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sawing.docking import compare_page

    computed = []
    real = compare_page.compared_study
    monkeypatch.setattr(
        compare_page, "compared_study", lambda study, rules: computed.append(study.pk) or real(study, rules)
    )
    first = mill.get(url("dock_compare")).context["total"]
    assert mill.get(url("dock_compare")).context["total"] == first
    assert len(computed) == 1
    material.study.boards.filter(code="B1").update(width_mm=210)
    changed = mill.get(url("dock_compare")).context["total"]
    assert len(computed) == 2
    assert changed.cut_m3 - first.cut_m3 == pytest.approx(28 * 10 * 3000 / 1e9)
    kept = PlanComparison.objects.get()
    assert f"Computed on {timezone.localtime(kept.computed_at):%-d %b %Y}" in page(mill, url("dock_compare"))
    assert mill.get(url("dock_compare"), {"as": "csv"}).status_code == 200
    assert len(computed) == 2


def test_many_flitches_are_compared_by_a_job_and_say_what_changed_since(
    mill: Client, material: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sawing.docking import compare_page

    monkeypatch.setattr(compare_page, "AT_ONCE", 3)
    assert "7 flitches have boards" in page(mill, url("dock_compare"))
    assert not PlanComparison.objects.exists()
    assert mill.post(url("dock_compare")).status_code == 302
    kept = PlanComparison.objects.get()
    assert kept.job is not None
    mill.post(url("dock_compare"))
    assert material.trial.jobs.count() == 1  # one job at a time
    assert "Compute plans" not in page(mill, url("dock_compare"))
    run(kept.job.pk)
    text = page(mill, url("dock_compare"))
    assert "Compute anew" in text
    assert "have changed since" not in text
    log = material.study.logs.get(code="L1")
    log.sweep_mm = 30
    log.save()
    text = page(mill, url("dock_compare"))
    assert "have changed since this was computed" in text
    assert "Compute anew" in text
    kept.refresh_from_db()
    assert kept.result is not None
    mill.force_login(material.people["grader"])
    text = page(mill, url("dock_compare"))
    assert "have changed since" in text
    assert "Compute anew" not in text


def test_a_plan_that_makes_no_rules_ends_the_job_with_its_reason(mill: Client, material: Place) -> None:
    material.study.min_length_mm, material.study.max_length_mm = 5050, 5080
    material.study.save()
    mill.post(url("dock_compare"))
    job = PlanComparison.objects.get().job
    assert job is not None
    run(job.pk)
    job.refresh_from_db()
    assert "min_length_mm" in job.problem
    assert "min_length_mm" in page(mill, url("dock_compare"))
