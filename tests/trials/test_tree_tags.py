"""Tree tags: what is on the paper, which trees, and that a scan finds the tree."""

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from portal.codes.reading import read_picture
from tests.conftest import Place
from tests.pdf_pages import Page, pages_of
from trials.models import Tree
from trials.planning.tags_pdf import SIZES, Tag, tags_pdf

LONG = "NORTHERN-UPLAND-SITE/block-12/row-044-column-118-replacement-2"


def codes_on(page: Page) -> list[str]:
    """Codes of a page, tag by tag: left to right, top to bottom."""
    picture = page.picture()
    found: dict[str, tuple[int, int]] = {}
    for top in range(0, picture.shape[0], 150):
        for left in range(0, picture.shape[1], 150):
            part = np.ascontiguousarray(picture[top : top + 700, left : left + 900])
            if part.min() == 0:
                for code in read_picture(part, enough=0):
                    x, y = code.middle
                    found[code.text] = (round((top + y) / 200), round(left + x))
    return sorted(found, key=found.__getitem__)


def tag(code: str, order: int = 1, **more: str) -> Tag:
    return Tag(code, "High Moor", 3, 14, "2", order, **more)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("code", ["7", "AR-12-07", "SITE/3-1-044", "Åsen 12", LONG[:64]])
def test_every_code_is_read_from_the_paper(size: str, code: str) -> None:
    (page,) = pages_of(tags_pdf([tag(code)], SIZES[size], "Tags"))
    assert codes_on(page) == [code]
    # a QR of the code and nothing else: modules of whole printer dots
    sides = np.array(page.rectangles)[:, 2:] / 72 * 300
    assert np.abs(sides - np.round(sides)).max() < 0.01


def test_words_of_a_tag() -> None:
    (page,) = pages_of(tags_pdf([tag("AR-12-07", 5, clone="HL-09")], SIZES["small"], "Tags"))
    assert page.words == ["AR-12-07", "Site High Moor", "Row 3, column 14", "Block 2 · HL-09", "5"]
    (without,) = pages_of(tags_pdf([tag("AR-12-07")], SIZES["small"], "Tags"))
    assert "HL-09" not in without.text


@pytest.mark.parametrize(("size", "pages"), [("small", 3), ("large", 5)])
def test_tags_stand_in_the_order_of_the_walk(size: str, pages: int) -> None:
    codes = [f"T-{n:02d}" for n in range(50)]
    made = pages_of(tags_pdf([tag(code, n) for n, code in enumerate(codes, 1)], SIZES[size], "Tags"))
    assert len(made) == pages
    assert [word for page in made for word in page.words if word.startswith("T-")] == codes
    assert codes_on(made[0]) == codes[: SIZES[size].a_page]


# pages


def get(place: Place, who: str = "field_crew", **asked: str) -> tuple[int, bytes]:
    client = Client()
    client.force_login(place.people[who])
    answer = client.get(reverse("trials:tree_tags", args=["small", "S"]), asked)
    return answer.status_code, answer.content


def printed(place: Place, **asked: str) -> list[str]:
    status, content = get(place, **asked, print="1")
    assert status == 200
    assert content.startswith(b"%PDF")
    return [word for page in pages_of(content) for word in page.words if word.startswith("S-")]


def test_standing_trees_in_walking_order(full: Place) -> None:
    """Rows 1 and 2 with two trees each, three of them felled for the study's logs: one tree is standing."""
    assert printed(full) == ["S-2-1"]
    assert printed(full, gone="on") == ["S-1-1", "S-1-2", "S-2-2", "S-2-1"]
    assert printed(full, gone="on", corner="bottom right", along="columns") == [
        "S-2-2",
        "S-1-2",
        "S-1-1",
        "S-2-1",
    ]
    assert printed(full, gone="on", first="2", last="3") == ["S-1-2", "S-2-2"]


def test_the_clone_is_printed_only_when_asked_for(full: Place) -> None:
    def words(**more: str) -> str:
        return " ".join(page.text for page in pages_of(get(full, gone="on", print="1", **more)[1]))

    assert "K1" not in words()
    assert "K1" in words(clones="on")


def test_the_page_counts_before_it_prints(full: Place) -> None:
    status, content = get(full, gone="on")
    page = content.decode().replace("\xa0", " ")
    assert status == 200
    assert "4 tags on 1 page" in page
    assert "Print 4 tags" in page


def test_what_cannot_be_printed_is_said(full: Place) -> None:
    status, content = get(full, first="9", print="1")
    assert status == 200
    assert b"No tree of the site is among these" in content
    for asked in ({"first": "0"}, {"size": "huge"}, {"corner": "middle"}, {"last": "x"}):
        status, content = get(full, **asked, print="1")
        assert status == 422, asked
        assert not content.startswith(b"%PDF")


def test_a_site_without_trees_says_what_to_do(place: Place) -> None:
    from trials.models import Site

    Site.objects.create(trial=place.trial, code="S")
    status, content = get(place)
    assert status == 200
    assert b"Trees come with the layout file" in content


def test_the_tag_of_every_tree_of_a_site_finds_that_tree(full: Place) -> None:
    content = get(full, gone="on", print="1")[1]
    (page,) = pages_of(content)
    assert set(codes_on(page)) == set(Tree.objects.values_list("code", flat=True))


def test_too_many_tags_at_once(full: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trials.views.tags.MOST_TAGS", 3)
    status, content = get(full, gone="on", print="1")
    assert status == 422
    assert "4 tags; at most 3 are printed at once" in content.decode()
    assert printed(full, gone="on", last="3") == ["S-1-1", "S-1-2", "S-2-2"]
