"""The pages for people tell the truth: links resolve, commands exist, columns and formulae are the code's."""

import re
import shlex
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class

from docs.make_file_formats import KINDS, PAGE, with_tables
from portal.uploads.registry import kinds
from sawing.calc.log_formulae import formulae

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
GUIDES = sorted((ROOT / "docs" / "guides").glob("*.md"))
ROOMS = ("portal", "trials", "sawing", "grading", "reports")


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, as Markdown viewers make them."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def table_after(page: Path, head: str) -> list[list[str]]:
    """The cells of the table whose head row begins with these words."""
    lines = page.read_text(encoding="utf-8").splitlines()
    start = next(at for at, line in enumerate(lines) if line.startswith(head))
    rows = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


def shown_commands() -> list[tuple[str, str]]:
    """(page, command line) of every management command shown with its arguments, in a table or set apart."""
    found = []
    for page in PAGES:
        for line in page.read_text(encoding="utf-8").splitlines():
            for apart in re.findall(r"^ {4}\S*python (manage\.py .+)$", line):
                found.append((name_of(page), apart))
            for quoted in re.findall(r"`\S*python (manage\.py [^`]+)`", line):
                found.append((name_of(page), quoted))
    return found


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_relative_links_resolve(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        found = (page.parent / path).resolve() if path else page
        assert found.exists(), f"{target} of {name_of(page)} leads nowhere"
        if anchor:
            assert anchor in anchors(found), f"{name_of(found)} has no heading for {target}"


@pytest.mark.parametrize(("page", "line"), shown_commands())
def test_commands_shown_exist_and_take_these_arguments(page: str, line: str) -> None:
    _, name, *arguments = shlex.split(line)
    assert name in get_commands(), f"{page} shows {name}"
    parser = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
    parser.parse_args(arguments)


def test_readme_lists_every_command_of_our_own() -> None:
    ours = {name for name, app in get_commands().items() if app in ROOMS}
    rows = table_after(ROOT / "README.md", "| command | does | example |")
    assert {row[0].strip("`") for row in rows} == ours
    for command, _, example in rows:
        assert f"manage.py {command.strip('`')}" in example


def test_files_that_commands_are_shown_with_are_there() -> None:
    shown = {
        word for _, line in shown_commands() for word in shlex.split(line) if word.startswith("fixtures/")
    }
    assert shown
    assert [path for path in sorted(shown) if not (ROOT / path).exists()] == []


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_make_targets_named_are_targets(page: Path) -> None:
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    text = page.read_text(encoding="utf-8")
    named = " ".join(
        re.findall(r"`make ([a-z ]+)", text) + re.findall(r"^ {4}make ([a-z ]+)", text, re.MULTILINE)
    )
    assert set(named.split()) <= targets


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_paths_named_are_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    named = re.findall(
        r"`((?:portal|trials|sawing|grading|reports|tests|fixtures|docs|benchmarks)/[\w./-]*)`", text
    )
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_column_tables_are_those_of_the_kinds() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert with_tables(page) == page, "run: python -m docs.make_file_formats"


def test_every_column_stands_in_file_formats_and_no_other() -> None:
    for kind in KINDS:
        section = re.search(
            rf"^### {kind.name}\n(.*?)(?=^### |\Z)", PAGE.read_text(encoding="utf-8"), re.M | re.S
        )
        assert section, f"{kind.name} has no section"
        documented = re.findall(r"^\| `(\w+)` \|", section[1], re.MULTILINE)
        needed = re.findall(r"^\| `(\w+)` \| \*\*yes\*\*", section[1], re.MULTILINE)
        assert documented == list(kind.names)
        assert needed == list(kind.required)


def test_every_kind_says_where_it_goes_and_who_brings_it() -> None:
    words = {"field_crew": "field crew", "mill": "mill staff"}
    rows = table_after(PAGE, "| kind | what it brings |")
    documented = {row[0].strip("`"): (row[2], set(row[3].split(", "))) for row in rows}
    registered = {
        k.file.name: (f"a {k.scope}", {words.get(str(r), str(r)) for r in k.roles}) for k in kinds()
    }
    assert documented == registered
    assert {kind.name for kind in KINDS} == set(registered)


def test_methods_name_every_formula_with_its_origin() -> None:
    rows = table_after(ROOT / "docs" / "methods.md", "| name | formula | needs |")
    assert {row[0].strip("`"): row[-1] for row in rows} == {f.name: f.origin for f in formulae()}


def test_operations_explain_every_variable_of_the_settings() -> None:
    settings = (ROOT / "portal" / "settings.py").read_text(encoding="utf-8")
    read = set(re.findall(r"environ(?:\.get\(|\[)\"([A-Z_]+)\"", settings))
    rows = table_after(ROOT / "docs" / "operations.md", "| variable | meaning |")
    assert {row[0].strip("`") for row in rows} == read


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_guides_are_short_and_their_bold_words_stand_on_pages(guide: Path) -> None:
    text = guide.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 60, "two screens at most"
    kinds_of_page = ("*.html", "forms.py", "home.py", "context.py", "*.js")
    sources = [p for room in ROOMS for kind in kinds_of_page for p in (ROOT / room).rglob(kind)]
    pages = " ".join(" ".join(p.read_text(encoding="utf-8") for p in sources).split())
    bold = [" ".join(words.split()) for words in re.findall(r"\*\*([^*]+)\*\*", text)]
    # A bold lead-in ends with its full stop; it is the guide's own.
    assert [words for words in bold if not words.endswith(".") and words not in pages] == []


def test_requirements_have_hashes_and_no_address() -> None:
    for path in sorted((ROOT / "requirements").glob("*.txt")):
        text = path.read_text(encoding="utf-8")
        pinned = re.findall(r"^[A-Za-z0-9][\w.\[\],-]*==", text, re.MULTILINE)
        assert pinned
        assert text.count("--hash=sha256:") >= len(pinned)
        assert "://" not in text
        assert "index-url" not in text
