"""Do the logs of a stem fit each other and their tree? What is odd is asked about, never refused.

Lengths and heights in m, diameters in mm. Limits without another mark are our own; that logs overlapping in one
tree, lengths adding up to more than its height, and diameters over bark in a list of diameters under bark are worth a
question is common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sawing.calc.frames import numbers, texts
from sawing.calc.log_volume import log_measures

MOST_OVERLAP_M = 0.05
MOST_GAP_M = 0.30
MOST_STEP_MM = 20.0
MOST_REVERSE_TAPER_MM = 5.0
MOST_TAPER_MM_PER_M = 40.0
LEAST_ROUND = 0.80
STUMP_ALLOWANCE_M = 0.10
LENGTH_ALLOWANCE_M = 0.05
BREAST_HEIGHT_M = 1.3
GROWN_SINCE_M, HIGHEST_STUMP_M, SHORTEST_STEM_M = 1.0, 1.0, 2.0
# Under bark, a conifer of this size shows about nine tenths of its diameter over bark (common practice).
OVER_BARK_FROM, THICKER_FROM, THINNER_FROM = 0.97, 1.05, 0.75
# A straight line between the ends of a butt log lies above the stem at breast height, since the butt is swollen.
BUTT_SWELL = 1.07

REMARKS = {
    "overlap": "log begins below the top of the one under it in the same tree",
    "gap": f"more than {MOST_GAP_M * 100:g} cm of stem missing between a log and the one under it",
    "reverse": "small end thicker than the large end",
    "taper": f"taper above {MOST_TAPER_MM_PER_M:g} mm per m",
    "butt": "large end thinner than the small end of the next log up",
    "step": f"large end more than {MOST_STEP_MM:g} mm thicker than the small end of the log under it",
    "oval": f"readings of one end far from each other (below {LEAST_ROUND:g})",
    "heart": "heartwood thicker than its log",
    "stump": "butt log does not begin at the stump",
    "stem": "logs reach beyond the length of the stem",
    "height": "logs together longer than the tree was tall",
    "over_bark": "nearly as thick as the tree over bark: perhaps measured over bark",
    "thicker": "thicker than the tree at breast height",
    "thinner": "much thinner than the tree at breast height: perhaps of another tree",
}
"""What is asked about, in the words of an upload's remarks."""


@dataclass(frozen=True)
class Doubt:
    """One question about a stem: its tree, the log (None: the stem as a whole), which rule, the question in words."""

    tree: str
    log: str | None
    kind: str
    words: str


def stem_doubts(
    logs: pd.DataFrame, trees: pd.DataFrame | None = None, breast_height_m: float = BREAST_HEIGHT_M
) -> list[Doubt]:
    """Everything that is odd along the stems of these logs, from the butt upward, tree by tree.

    :param logs: columns of a logs file (log, tree, bottom_m, length_m, diameters; others may be absent).
    :param trees: tree, and as far as known stem_length_m, stump_m, height_m, dbh_mm (over bark); a rule that needs
        what is missing stays silent.
    """
    if logs.empty:
        return []
    stems = _prepared(logs, trees)
    found = [doubt for rule in RULES for doubt in rule(stems, breast_height_m)]
    place = {log: at for at, log in enumerate(stems["log"])}
    order = {tree: at for at, tree in enumerate(dict.fromkeys(stems["tree"]))}
    kinds = list(REMARKS)
    return sorted(found, key=lambda d: (order[d.tree], place.get(d.log or "", -1), kinds.index(d.kind)))


def stem_record_doubts(stem_length_m: float, stump_m: float, height_m: float) -> list[str]:
    """What is odd about a stem record, in words; NaN where something is not known. Limits are our own.

    A felled tree has usually grown a little since its height was measured, so up to 1 m more is not asked about.
    """
    words = []
    whole = stem_length_m + (0.0 if np.isnan(stump_m) else stump_m)
    if whole > height_m + GROWN_SINCE_M:
        words.append(f"stem and stump are {whole:.2f} m long together, the tree was {height_m:.1f} m tall")
    if stump_m > HIGHEST_STUMP_M:
        words.append(f"the stump is {stump_m:.2f} m high")
    if stem_length_m < SHORTEST_STEM_M:
        words.append(f"the stem is only {stem_length_m:.2f} m long")
    return words


def _prepared(logs: pd.DataFrame, trees: pd.DataFrame | None) -> pd.DataFrame:
    """The logs from the butt upward, each with its neighbours and what is known of its tree."""
    measures, _ = log_measures(logs, None)
    frame = pd.DataFrame(
        {
            "log": logs["log"].astype(object),
            "tree": logs["tree"].astype(object),
            "bottom": numbers(logs, "bottom_m"),
            "length": numbers(logs, "length_m"),
            "small": measures.small_mm,
            "large": measures.large_mm,
            "mid": measures.mid_mm,
            "bark": texts(logs, "bark").fillna("under"),
            **{name: numbers(logs, name) for name in READINGS},
        },
        index=logs.index,
    )
    frame["top"] = frame["bottom"] + frame["length"]
    frame = frame.sort_values(["tree", "bottom", "log"], kind="stable")
    stem = frame.groupby("tree", sort=False)
    frame["reached"] = stem["top"].cummax()
    for side, step in (("under", 1), ("next", -1)):
        for name in ("log", "small", "large", "bark", "reached"):
            frame[f"{side}_{name}"] = stem[name].shift(step)
    frame["together"] = stem["length"].transform("sum")
    known = pd.DataFrame() if trees is None else trees.drop_duplicates("tree").set_index("tree")
    for name in ("stem_length_m", "stump_m", "height_m", "dbh_mm"):
        values = known[name].astype(float) if name in known.columns else pd.Series(dtype=float)
        frame[name] = frame["tree"].map(values).astype(float)
    return frame


READINGS = ("sed1_mm", "sed2_mm", "led1_mm", "led2_mm", "heart_sed_mm", "heart_led_mm")
Rule = Callable[[pd.DataFrame, float], Iterator[Doubt]]


def _each(stems: pd.DataFrame, odd: pd.Series[bool], kind: str, words: str) -> Iterator[Doubt]:
    """A doubt for each row where `odd` holds; `words` is filled from the row's columns."""
    for row in stems[odd].to_dict("records"):
        yield Doubt(str(row["tree"]), str(row["log"]), kind, words.format_map(row))


def _neighbours(stems: pd.DataFrame, _: float) -> Iterator[Doubt]:
    over = stems["under_reached"] - stems["bottom"]
    stems = stems.assign(over_cm=over * 100, gap_cm=-over * 100)
    yield from _each(
        stems, over > MOST_OVERLAP_M, "overlap", "begins {over_cm:.0f} cm below the top of {under_log}"
    )
    yield from _each(
        stems,
        -over > MOST_GAP_M,
        "gap",
        "begins {gap_cm:.0f} cm above the top of {under_log}: is there a log between them, or waste cut out?",
    )
    alike = stems["bark"] == stems["next_bark"]
    yield from _each(
        stems,
        alike & (stems["large"] < stems["next_small"]),
        "butt",
        "its large end ({large:.0f} mm) is thinner than the small end of {next_log} above it ({next_small:.0f} mm)",
    )
    step = (stems["bark"] == stems["under_bark"]) & (stems["large"] - stems["under_small"] > MOST_STEP_MM)
    yield from _each(
        stems,
        step,
        "step",
        "its large end ({large:.0f} mm) is thicker than the small end of {under_log} under it ({under_small:.0f} mm)",
    )


def _shape(stems: pd.DataFrame, _: float) -> Iterator[Doubt]:
    stems = stems.assign(taper=(stems["large"] - stems["small"]) / stems["length"])
    yield from _each(
        stems,
        stems["small"] > stems["large"] + MOST_REVERSE_TAPER_MM,
        "reverse",
        "its small end ({small:.0f} mm) is thicker than its large end ({large:.0f} mm)",
    )
    steep = stems["taper"] > MOST_TAPER_MM_PER_M
    yield from _each(stems, steep, "taper", "it tapers by {taper:.0f} mm per m")
    for end, name in (("sed", "small"), ("led", "large")):
        pair = stems[[f"{end}1_mm", f"{end}2_mm"]]
        stems = stems.assign(least=pair.min(axis=1), most=pair.max(axis=1), heart=stems[f"heart_{end}_mm"])
        yield from _each(
            stems,
            stems["least"] < LEAST_ROUND * stems["most"],
            "oval",
            f"the two readings of its {name} end are {{least:.0f}} and {{most:.0f}} mm",
        )
        yield from _each(
            stems,
            stems["heart"] > stems["most"] * (1 + 1e-9),
            "heart",
            f"the heartwood at its {name} end ({{heart:.0f}} mm) is thicker than the log ({{most:.0f}} mm)",
        )


def _whole_stem(stems: pd.DataFrame, _: float) -> Iterator[Doubt]:
    butt = ~stems["tree"].duplicated()
    off = (stems["bottom"] - stems["stump_m"]).abs() > STUMP_ALLOWANCE_M
    yield from _each(
        stems,
        butt & off,
        "stump",
        "begins {bottom:.2f} m above the ground, but the stump is {stump_m:.2f} m high",
    )
    end = stems["stump_m"].fillna(0.0) + stems["stem_length_m"]
    beyond = stems["top"] > end + LENGTH_ALLOWANCE_M + np.where(stems["stump_m"].isna(), MOST_GAP_M, 0.0)
    yield from _each(
        stems.assign(end=end), beyond, "stem", "ends {top:.2f} m above the ground, the stem at {end:.2f} m"
    )
    of_tree = [
        ("stem", "stem_length_m", "the stem is {:.2f} m long"),
        ("height", "height_m", "the tree was {:.1f} m tall"),
    ]
    for kind, column, words in of_tree:
        long = butt & (stems["together"] > stems[column] + LENGTH_ALLOWANCE_M)
        for row in stems[long].to_dict("records"):
            said = f"its logs are {row['together']:.2f} m long together, {words.format(row[column])}"
            yield Doubt(str(row["tree"]), None, kind, said)


def _against_the_tree(stems: pd.DataFrame, breast_height_m: float) -> Iterator[Doubt]:
    """The log that holds breast height against the tree's diameter there.

    By its mid and small diameters, which a swollen butt does not reach; by its two ends where it has no mid diameter,
    less what a butt swells.
    """
    along = (breast_height_m - stems["bottom"]) / stems["length"]
    by_mid = stems["mid"] + (along - 0.5) * 2 * (stems["small"] - stems["mid"])
    by_ends = (stems["large"] + along * (stems["small"] - stems["large"])) / BUTT_SWELL
    here = by_mid.fillna(by_ends)
    stems = stems.assign(here=here, at=breast_height_m)
    ratio = (here / stems["dbh_mm"]).where(along.between(0, 1))
    said = "about {here:.0f} mm thick at {at:g} m, where the tree measured {dbh_mm:.0f} mm over bark"
    under = stems["bark"] == "under"
    thicker = ratio > THICKER_FROM
    yield from _each(stems, thicker, "thicker", f"{said}: is it of this tree?")
    yield from _each(
        stems,
        under & (ratio >= OVER_BARK_FROM) & ~thicker,
        "over_bark",
        f"{said}: were its diameters taken over bark?",
    )
    yield from _each(stems, ratio < THINNER_FROM, "thinner", f"{said}: is it of this tree?")


RULES: tuple[Rule, ...] = (_neighbours, _shape, _whole_stem, _against_the_tree)
