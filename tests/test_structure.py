"""What the code of the house must not do, found by reading it."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WRITES = {
    "save",
    "create",
    "bulk_create",
    "bulk_update",
    "update_or_create",
    "get_or_create",
    "delete",
    "atomic",
}


def view_files() -> list[Path]:
    rooms = [ROOT / room for room in ("portal", "trials", "sawing", "grading", "reports")]
    found = [p for room in rooms for p in [*room.rglob("views.py"), *room.glob("views/*.py")]]
    found += [p for room in rooms for p in room.rglob("api.py")]
    return [*found, ROOT / "portal" / "look.py"]


def test_views_write_nothing_themselves() -> None:
    """Writes are functions of actions.py, each in one transaction with its permission asked inside."""
    files = view_files()
    assert len(files) >= 8
    for path in files:
        for node in ast.walk(ast.parse(path.read_text())):
            called = node.func if isinstance(node, ast.Call) else None
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            assert name not in WRITES, f"{path}:{node.lineno} calls {name}()"
            if isinstance(node, ast.Attribute | ast.Name):
                assert getattr(node, "attr", getattr(node, "id", "")) != "atomic", f"{path}:{node.lineno}"


# Asked by actions, with the permission asked and the lock held there; or no writes at all.
PARTS_OF_ACTIONS = {
    "fell_trees",
    "give_own_hues",
    "json_notes",
    "may_add_rule_sets",
    "lock_assessments",
    "lock_study",
    "store_entries",
    "restand",
    "stated_entries",
    "mark_dead_and_missing",
    "default_traits",
    "plan_name",
}


def test_every_action_names_who_does_it() -> None:
    """Public functions of actions.py either take `by` or are the upload machine's own (target, rows, upload)."""
    files = [*ROOT.glob("[a-z]*/actions.py"), *ROOT.glob("[a-z]*/*/actions.py")]
    files += ROOT.glob("[a-z]*/*/actions/*.py")
    assert len(files) >= 6
    for path in files:
        for node in ast.parse(path.read_text()).body:
            if (
                isinstance(node, ast.FunctionDef)
                and not node.name.startswith("_")
                and node.name not in PARTS_OF_ACTIONS
            ):
                keyword = {a.arg for a in node.args.kwonlyargs}
                positional = [a.arg for a in node.args.args]
                assert "by" in keyword or positional[:2] == ["target", "rows"], f"{path}: {node.name}"
