"""How a study saws, as rules of docking and as ways of sawing: its plan first, what the plan leaves open as usual."""

from collections.abc import Mapping
from typing import Any

from sawing.calc.dock_rules import Rules, rules_of
from sawing.calc.dock_scenarios import Scenario
from sawing.calc.log_to_flitch import SawPattern
from sawing.docking.outlines import USUAL_KERF_MM, orientation_of
from sawing.models import Study

USUAL_WIDTHS_MM = tuple(range(75, 301, 25))
USUAL_THICKNESS_MM = 25.0
FINEST_GRID_MM = 25.0


def grid_step(module_mm: float) -> float:
    """The cut grid for a length module: a whole part of it, 25 mm or as near above as divides it."""
    return module_mm / max(1, int(module_mm / FINEST_GRID_MM + 1e-9))


def first_rules(study: Study, by_labels: bool) -> dict[str, Any]:
    """The rules a form begins with: the study's plan, and every board keeping an end where labels trace them."""
    given = {
        "widths_mm": study.widths_mm or list(USUAL_WIDTHS_MM),
        "length_module_mm": study.crosscut_module_mm or 100.0,
        "min_length_mm": study.min_length_mm or 1000.0,
        "max_length_mm": study.max_length_mm or 6000.0,
        "crosscut_kerf_mm": _or(study.crosscut_kerf_mm, USUAL_KERF_MM),
        "edger_kerf_mm": _or(study.edger_kerf_mm, USUAL_KERF_MM),
        "max_docks": study.max_docks,
        "boards_per_piece": 1,
        "max_skew": 0.05,
        "keep_end": "each" if by_labels else "none",
        "width_oversize_pct": _or(study.oversize_width_pct, 0.0),
        "edger_clearance_mm": _or(study.edger_clearance_mm, 0.0),
    }
    return {**given, "grid_step_mm": grid_step(given["length_module_mm"])}


def first_pattern(study: Study) -> dict[str, Any]:
    """How the study opens its logs: thickness, kerf, orientation, oversize."""
    return {
        "thickness_mm": min(study.thicknesses_mm, default=USUAL_THICKNESS_MM),
        "saw_kerf_mm": _or(study.headsaw_kerf_mm, USUAL_KERF_MM),
        "orientation": orientation_of(study),
        "oversize_mm": _or(study.oversize_thickness_mm, 0.0),
    }


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def rules_from(given: Mapping[str, Any]) -> Rules:
    """Rules from stored or asked keys. ValueError with all reasons where they are none."""
    rules, problems = rules_of(given, "rules")
    if rules is None:
        raise ValueError("; ".join(f"{p.column}: found {p.found}, expected {p.expected}" for p in problems))
    return rules


def scenario_from(way: Mapping[str, Any]) -> Scenario:
    """A scenario from its stored parameters: name, pattern, rules. ValueError where they will not do."""
    return Scenario(str(way["name"]), SawPattern(**way["pattern"]), rules_from(way["rules"]))


def usual_ways(study: Study, by_labels: bool) -> list[dict[str, Any]]:
    """Ways worth comparing: the study's own, and it changed in one respect each; none that is the study's again."""
    rules, pattern = first_rules(study, by_labels), first_pattern(study)
    turned = "side" if pattern["orientation"] == "bow_up" else "bow_up"
    words = {"side": "bow on its side", "bow_up": "bow up"}
    longer = min(rules["min_length_mm"] + 500, rules["max_length_mm"])
    kerf, widths = pattern["saw_kerf_mm"], rules["widths_mm"]
    changes: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
        ("as planned", {}, {}),
        ("no dock", {}, {"max_docks": 0}),
        ("at most one dock", {}, {"max_docks": 1}),
        ("at most two docks, boards may lose their ends", {}, {"max_docks": 2, "keep_end": "none"}),
        (words[turned], {"orientation": turned}, {}),
        (f"headsaw kerf {kerf + 1:g} mm", {"saw_kerf_mm": kerf + 1}, {}),
        (f"headsaw kerf {max(kerf - 1, 0):g} mm", {"saw_kerf_mm": max(kerf - 1, 0)}, {}),
        ("every second width", {}, {"widths_mm": sorted(widths)[::-1][::2][::-1]}),
        ("shortest board half a metre longer", {}, {"min_length_mm": longer}),
        (
            "shortest board half a metre shorter",
            {},
            {"min_length_mm": min(rules["min_length_mm"], max(300.0, rules["min_length_mm"] - 500))},
        ),
        ("two boards side by side", {}, {"boards_per_piece": 2}),
        (
            "no oversize, no clearance: geometry alone",
            {"oversize_mm": 0.0},
            {"width_oversize_pct": 0.0, "edger_clearance_mm": 0.0},
        ),
        (
            "oversize 4 % and 1 mm, clearance 6 mm",
            {"oversize_mm": 1.0},
            {"width_oversize_pct": 4.0, "edger_clearance_mm": 6.0},
        ),
    ]
    ways = [
        {"name": name, "pattern": {**pattern, **saw}, "rules": {**rules, **rule}}
        for name, saw, rule in changes
    ]
    planned = ways[0]
    changed = [w for w in ways if (w["pattern"], w["rules"]) != (planned["pattern"], planned["rules"])]
    return [planned, *changed]
