"""Colours of tokens.css against the contrast that WCAG 2.2 asks for.

Source of the formula and of the limits (found): W3C, Web Content Accessibility Guidelines 2.2, definitions of
"relative luminance" and "contrast ratio", success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (marks, 3:1).
"""

import re
from pathlib import Path

import pytest

from portal import settings

TOKENS = (Path(settings.BASE_DIR) / "portal/static/portal/tokens.css").read_text()
THEMES = ("light", "dark")


def colours(theme: str) -> dict[str, str]:
    """Custom properties of tokens.css that are one colour, resolved for a theme."""
    found = {}
    for name, value in re.findall(r"--([a-z0-9-]+):\s*([^;]+);", TOKENS):
        pair = re.fullmatch(r"light-dark\((#[0-9A-Fa-f]{6}),\s*(#[0-9A-Fa-f]{6})\)", value)
        if pair:
            found[name] = pair.group(1 + THEMES.index(theme))
        elif re.fullmatch(r"#[0-9A-Fa-f]{6}", value):
            found[name] = value
    return found


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_gives_the_known_extremes() -> None:
    """Black on white is 21:1 and a colour on itself 1:1 (found, WCAG 2.2); #767676 on white is the
    well-known lightest grey that still passes 4.5:1 (common practice)."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#336699", "#336699") == 1
    assert contrast("#767676", "#FFFFFF") >= 4.5 > contrast("#777777", "#FFFFFF")


TEXT = [
    *(
        (ink, on)
        for ink in ("ink", "quiet", "spruce", "wrong", "caution")
        for on in ("paper", "card", "tint")
    ),
    ("ink", "caution-wash"),
    ("quiet", "caution-wash"),
    ("caution", "caution-wash"),
    ("ink", "wrong-wash"),
    ("wrong", "wrong-wash"),
    ("ink", "right-wash"),
    ("right", "right-wash"),
    ("on-spruce", "spruce"),
    ("on-spruce", "spruce-deep"),
    ("on-heart", "heart"),
    ("on-sap", "sap"),
    *((f"grade-ink-{'dark' if i < 6 else 'light'}", f"grade-{i}") for i in range(10)),
]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("ink", "on"), TEXT)
def test_text_can_be_read(theme: str, ink: str, on: str) -> None:
    known = colours(theme)
    assert contrast(known[ink], known[on]) >= 4.5, f"{ink} on {on} in {theme}"


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("on", ["paper", "card"])
@pytest.mark.parametrize("mark", ["edge", "ink", "spruce", "below", "above"])
def test_lines_that_carry_meaning_can_be_seen(theme: str, mark: str, on: str) -> None:
    known = colours(theme)
    assert contrast(known[mark], known[on]) >= 3, f"{mark} on {on} in {theme}"


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("kind", ["clone", "grade"])
def test_ink_on_a_mark_is_the_one_its_class_names(theme: str, kind: str) -> None:
    """Every .clone-n and .grade-n class pairs its colour with an ink that is read on it."""
    known = colours(theme)
    rules = re.findall(rf"\.{kind}-(\d) {{ --mark: var\(--([a-z0-9-]+)\); --mark-ink: ([^;]+); }}", TOKENS)
    assert len(rules) == {"clone": 8, "grade": 10}[kind]
    for number, mark, ink in rules:
        assert mark == f"{kind}-{number}"
        pair = re.fullmatch(r"light-dark\((#\w{6}), (#\w{6})\)", ink)
        reference = re.fullmatch(r"var\(--([a-z-]+)\)", ink)
        colour = (
            pair.group(1 + THEMES.index(theme)) if pair else known[reference.group(1)] if reference else ink
        )
        assert contrast(colour, known[mark]) >= 4.5, f"{ink} on {mark} in {theme}"


def test_clones_wear_the_okabe_ito_colours() -> None:
    """Hex codes as published for the palette of Okabe and Ito, Color Universal Design (2008), in its order
    after black (found: public listings of the palette)."""
    known = colours("light")
    published = ["#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"]
    assert [known[f"clone-{i}"].upper() for i in range(7)] == published


def test_grades_are_ten_steps_of_viridis_from_light_to_dark() -> None:
    """Against the viridis stops that plotly ships (found: plotly.colors.sequential.Viridis)."""
    sequential = pytest.importorskip("plotly.colors").sequential
    known = colours("light")
    steps = [known[f"grade-{i}"].lower() for i in range(10)]
    assert steps == [c.lower() for c in reversed(sequential.Viridis)]
    levels = [luminance(c) for c in steps]
    assert levels == sorted(levels, reverse=True)
