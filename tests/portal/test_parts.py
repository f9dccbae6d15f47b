"""The parts of the templates: what they say, what they never hide, what they escape."""

import csv
import io
import re
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from django import forms
from django.conf import settings
from django.core.paginator import Paginator
from django.http import QueryDict
from django.template import Context, Template
from django.test import Client, RequestFactory

from portal.calc import shown
from portal.cautions import CAUTIONS, caution_text
from portal.tables import Column, Table
from portal.templatetags import parts

NARROW, HARD, MINUS = "\u202f", "\u00a0", "\u2212"


def render(source: str, **context: object) -> str:
    return Template(source).render(Context(context))


def words(html: str) -> str:
    return re.sub(r"[ \n]+", " ", re.sub(r"<[^>]*>", "", html)).strip()


# Numbers


@pytest.mark.parametrize(
    ("value", "digits", "expected"),
    [
        (12480.5, 1, f"12{NARROW}480.5"),
        (-3.2, 1, f"{MINUS}3.2"),
        (-0.04, 1, "0.0"),
        (0, None, "0"),
        (0.012345, None, "0.0123"),
        (98765.4, None, f"98{NARROW}765"),
        (np.float64(2.5), 1, "2.5"),
    ],
)
def test_numbers_are_written_for_people(value: float, digits: int | None, expected: str) -> None:
    assert shown.number(value, digits) == expected


@pytest.mark.parametrize("nothing", [None, float("nan"), float("inf"), "", "n.a.", pd.NA, True])
def test_what_is_missing_is_a_dash_that_is_read_out(nothing: object) -> None:
    assert shown.number(nothing) is None
    for source in ("{{ v|number:1 }}", "{{ v|percent }}", "{{ v|cubic_metres }}", '{{ v|money:"EUR" }}'):
        html = render(source, v=nothing)
        assert "—" in html
        assert "missing" in html
        assert "nan" not in html.lower()


def test_zero_is_a_measurement() -> None:
    assert render("{{ v|number:1 }}|{{ v|percent:0 }}|{{ v|missing }}", v=0) == f"0.0|0{HARD}%|0"


def test_volumes_show_the_litre_where_it_matters() -> None:
    assert [shown.cubic_metres(v) for v in (0.0124, 0.2120575, 14.2077, 1249.5)] == [
        f"0.0124{HARD}m³",
        f"0.212{HARD}m³",
        f"14.21{HARD}m³",
        f"1{NARROW}250{HARD}m³",
    ]


def test_shares_intervals_money_and_counts() -> None:
    assert render("{{ v|percent:1 }}", v=0.645462) == f"64.5{HARD}%"
    assert render("{{ v|interval_percent:1 }}", v=(0.481, 0.5402)) == f"48.1 to 54.0{HARD}%"
    assert render("{{ v|interval:0 }}", v=(281.4, 330.9)) == "281 to 331"
    assert render('{{ v|money:"EUR" }}', v=1234.5) == f"EUR{HARD}1{NARROW}234"
    assert (
        render('{{ 1|counted:"study,studies" }} {{ 2|counted:"study,studies" }}')
        == f"1{HARD}study 2{HARD}studies"
    )
    assert "—" in render("{{ v|interval_percent }}", v=(0.4, None))
    assert "—" in render("{{ v|interval_percent }}", v=None)


# Cautions, messages


def test_every_caution_is_shown_in_full_and_cannot_be_folded_or_dismissed() -> None:
    assert list(CAUTIONS) == [f"C{i}" for i in range(1, 14)]
    html = render('{% caution "C1" "C5" %}')
    assert caution_text("C1") in words(html)
    assert caution_text("C5") in words(html)
    assert "<details" not in html
    assert "<button" not in html


def test_a_misspelt_caution_stops_the_page() -> None:
    with pytest.raises(KeyError, match="C99"):
        render('{% caution "C99" %}')


def test_messages_carry_a_word_and_are_escaped() -> None:
    html = render('{% message "wrong" text %}', text="<b>no</b>")
    assert "Not done." in words(html)
    assert 'role="alert"' in html
    assert "<b>no</b>" not in html


# Figures


def test_a_figure_shows_sample_interval_and_way_to_its_rows() -> None:
    said = words(
        html := render(
            '{% figure "Graded recovery" 0.5124 kind="percent" low=0.481 high=0.5402 trees=24 boards=612 '
            "rows=address %}",
            address="/r/?a=1&b=2",
        )
    )
    assert "51.2 %" in said
    assert f"95 % interval 48.1 to 54.0{HARD}%" in said
    assert f"24{HARD}trees, 612{HARD}boards" in said
    assert 'href="/r/?a=1&amp;b=2"' in html
    assert "C11" not in said


def test_a_figure_without_interval_says_so_and_few_trees_carry_the_caution() -> None:
    said = words(render('{% figure "Stiffness" 9.84 unit="GPa" digits=1 trees=4 boards=17 %}'))
    assert "No interval" in said
    assert caution_text("C11") in said


def test_an_interval_is_written_as_finely_as_its_estimate() -> None:
    said = words(render('{% figure "Value" 306.25 kind="money" unit="EUR" low=281.4 high=330.9 trees=24 %}'))
    assert f"281.40 to 330.90{HARD}EUR" in said


# Tables


def table(query: str = "", rows: object = None, **more: object) -> Table:
    rows = (
        rows
        if rows is not None
        else [
            {"board": "L-10", "clone": "A", "width_mm": 150.0, "url": "/b/10/"},
            {"board": "L-2", "clone": "B", "width_mm": float("nan"), "url": ""},
            {"board": "L-1", "clone": "A", "width_mm": 100.0, "url": "/b/1/"},
        ]
    )
    columns = [
        Column("board", "Board", kind="code", key=True, url=lambda row: row.get("url")),
        Column("clone", "Clone", filter="choice"),
        Column("width_mm", "Width", kind="number", unit="mm", digits=0),
    ]
    request = RequestFactory().get(f"/boards/?{query}")
    return Table(request, rows=rows, columns=columns, what="board", order="board", **more)  # type: ignore[arg-type]


def test_codes_sort_as_people_count_and_missing_values_come_last_both_ways() -> None:
    assert [row["board"] for row in table().found] == ["L-1", "L-2", "L-10"]
    assert [row["board"] for row in table("sort=width_mm").found] == ["L-1", "L-10", "L-2"]
    assert [row["board"] for row in table("sort=-width_mm").found] == ["L-10", "L-1", "L-2"]


def test_sorting_by_an_unknown_column_falls_back_to_the_usual_order() -> None:
    assert [row["board"] for row in table("sort=password").found] == ["L-1", "L-2", "L-10"]


def test_a_filtered_table_says_in_words_what_is_left_out() -> None:
    filtered = table("f_clone=A", left_out="9 boards of a broken log.")
    assert filtered.in_words == f"2 of 3{HARD}boards: only clone “A”. Left out: 9 boards of a broken log."
    html = render("{% table table %}", table=filtered)
    assert "L-10" in html
    assert "L-2<" not in html
    assert "show all" in html


def test_headers_tell_screen_readers_how_the_table_is_sorted_and_carry_units() -> None:
    html = render("{% table table %}", table=table("sort=-width_mm&f_clone=A"))
    assert html.count('aria-sort="descending"') == 1
    assert html.count('aria-sort="none"') == 2
    assert '<span class="unit">mm</span>' in html
    assert "f_clone=A&amp;sort=board" in html or "sort=board&amp;f_clone=A" in html


def test_cells_escape_what_people_typed() -> None:
    html = render(
        "{% table table %}", table=table(rows=[{"board": "<script>", "clone": '"><img>', "width_mm": 1}])
    )
    assert "<script>" not in html
    assert "<img>" not in html


def test_download_gives_all_filtered_rows_raw_and_disarms_formulas() -> None:
    rows = [{"board": f"=cmd|{i}", "clone": "A" if i % 2 else "B", "width_mm": i + 0.125} for i in range(250)]
    answer = table("download=csv&f_clone=A&page=2", rows=rows, page_size=10).download()
    lines = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert lines[0] == ["Board", "Clone", "Width (mm)"]
    assert len(lines) == 126
    assert lines[1] == ["'=cmd|1", "A", "1.125"]
    assert answer["Content-Disposition"] == 'attachment; filename="boards.csv"'


def test_download_as_a_workbook_keeps_numbers_as_numbers_and_gaps_empty() -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(table("download=xlsx").download().content)).active
    assert sheet is not None
    assert list(sheet.iter_rows(values_only=True))[1:] == [
        ("L-1", "A", 100),
        ("L-2", "B", None),
        ("L-10", "A", 150),
    ]


def test_frames_make_tables_too() -> None:
    frame = pd.DataFrame({"board": ["b", "a"], "clone": ["A", None], "width_mm": [1, 2]})
    assert [row["board"] for row in table(rows=frame).found] == ["a", "b"]


def test_an_empty_table_says_what_is_not_there() -> None:
    assert "No board yet." in words(render("{% table table %}", table=table(rows=[])))
    assert "No board fits this filter." in words(render("{% table table %}", table=table("f_clone=Z")))


def test_two_tables_on_a_page_keep_each_others_order() -> None:
    both = table("logs_sort=x&sort=board&page=1", prefix="logs_")
    assert "sort=board" in both.headers()[0].url
    assert "logs_sort=-board" in both.headers()[0].url


def test_pages_keep_the_rest_of_the_query() -> None:
    request = RequestFactory().get("/x/?q=a%26b&page=2")
    html = render("{% pagination page %}", page=Paginator(range(90), 10).page(2), request=request)
    addresses = [QueryDict(href.replace("&amp;", "&")) for href in re.findall(r'href="\?([^"]*)"', html)]
    assert {a["q"] for a in addresses} == {"a&b"}
    assert "1" in {a["page"] for a in addresses}


def test_held_rows_keep_what_came_and_name_what_is_wrong() -> None:
    rows = [
        {
            "id": 7,
            "row_number": 14,
            "values": {"log": '"L-1"', "width_mm": None},
            "problems": [
                {"column": "width_mm", "found": "", "expected": "a width in mm"},
                {"column": None, "found": "", "expected": "stands twice"},
            ],
        }
    ]
    html = render("{% held_rows columns rows %}", columns=["log", "width_mm"], rows=rows)
    assert 'name="row-7-log" value="&quot;L-1&quot;"' in html
    assert html.count('aria-invalid="true"') == 1
    assert "a width in mm" in html
    assert "stands twice" in words(html)


# Forms


class LengthForm(forms.Form):
    length_m = forms.FloatField(label="Length", max_value=13, help_text="along the axis")
    note = forms.CharField(required=False)


def test_a_field_ties_label_unit_hint_and_error_to_its_input() -> None:
    form = LengthForm({"length_m": "31"})
    html = render('{% error_summary form %}{% field form.length_m unit="m" %}', form=form)
    assert '<label for="id_length_m">Length' in html
    assert 'aria-describedby="id_length_m-hint id_length_m-error"' in html
    assert 'id="id_length_m-hint"' in html
    assert 'id="id_length_m-error"' in html
    assert 'aria-invalid="true"' in html
    assert 'value="31"' in html
    assert '<a href="#id_length_m">Length:' in html
    assert "Nothing was stored. What you typed is still here." in words(html)


def test_a_sound_form_has_no_error_summary_and_marks_what_may_stay_empty() -> None:
    html = render("{% error_summary form %}{% form_fields form %}", form=LengthForm())
    assert "error-summary" not in html
    assert html.count("(may stay empty)") == 1


def test_progress_without_a_total_claims_nothing() -> None:
    assert "value=" not in render('{% progress "Resampling trees" %}')
    html = render('{% progress "Storing" 340 1200 what="board" remaining="about 2 minutes" %}')
    assert f"340 of 1{NARROW}200{HARD}boards, about 2 minutes left" in words(html)


# Colours, the whole page


def test_clones_beyond_the_eighth_wear_the_colours_again_hatched() -> None:
    source = "{% for i in places %}{% clone_colour i %};{% endfor %}"
    assert render(source, places=[0, 7, 8, 15]) == "clone-0;clone-7;clone-0 again;clone-7 again;"


def test_grades_spread_over_the_scale_best_to_reject() -> None:
    source = "{% for i in places %}{% grade_colour i 4 %};{% endfor %}{% grade_colour 3 4 reject=True %}"
    assert render(source, places=[0, 1, 2, 3]) == "grade-0;grade-3;grade-6;grade-9;grade-9 reject"
    assert render("{% grade_colour 0 1 %}") == "grade-0"


def test_the_security_policy_is_kept_no_template_has_inline_style_or_script() -> None:
    for path in sorted(Path(settings.BASE_DIR).glob("*/templates/**/*.html")):
        text = path.read_text()
        assert not re.search(r"""\sstyle\s*=\s*["']""", text), path
        assert not re.search(r"""\son[a-z]+\s*=\s*["']""", text), path
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), path
        assert "<style" not in text, path
        assert not re.search(r"""(src|href)\s*=\s*["'](https?:)?//""", text), path


@pytest.mark.parametrize("name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html"])
def test_error_pages_say_what_happened_to_the_data_and_need_nothing_to_render(name: str) -> None:
    from django.template.loader import get_template

    said = words(get_template(name).render())
    assert "Your data." in said


def test_the_living_page_shows_every_part_without_a_database(client: Client) -> None:
    answer = client.get("/look/")
    html = answer.content.decode()
    assert answer.status_code == 200
    for tag in parts.register.tags:
        if tag not in {
            "main_navigation",
            "page_messages",
            "table_pagination",
            "joined",
        }:  # base.html and parts use these
            assert f"% {tag}" in html, f"{tag} is not explained on /look/"
    assert html.count('class="drawing') >= 10
    assert not re.search(r'\sstyle="', html)
    assert all(caution_text(i) in html for i in CAUTIONS)
