"""Invented figures that show the pictures of logs on the living page /look/."""

import datetime as dt
from collections.abc import Callable

from sawing.calc.drying_curve import fit_curve
from sawing.calc.drying_range import replicate, target_dates
from sawing.calc.equilibrium_moisture import YardClimate, seasonal_line
from sawing.calc.picture_drying import ReadingDot, drying_picture
from sawing.calc.picture_progress import StageBar, progress
from sawing.calc.pictures import NARROW, WIDE, SawnPiece, StemLog, log_end, placed_by_flitch, stem

# Flitches of one log from below: widths of the pieces, and the place of each piece's grade among ten.
FLITCHES = (
    ((150,), (7,)),
    ((200,), (4,)),
    ((125, 125), (2, 4)),
    ((125, 125), (2, 9)),
    ((125, 150), (0, 2)),
    ((250,), (4,)),
    ((225,), (2,)),
    ((175,), (7,)),
)
LOGS = (
    StemLog("K3-0412-1", 0.3, 4.1, 318, 291, 18, 196, 174),
    StemLog("K3-0412-2", 4.4, 4.1, 291, 262, 31, 174, 150),
    StemLog("K3-0412-3", 8.5, 3.1, 262, 231, None, 150, 121),
    StemLog("K3-0412-4", 12.2, 3.1, 219, 178, 12, 110, 70),
)


STACKED = dt.date(2025, 3, 10)
CLIMATE = YardClimate(
    (1.5, 2.0, 4.5, 7.5, 11.0, 14.0, 15.5, 15.0, 12.5, 9.0, 5.0, 2.5),
    (88, 85, 80, 76, 74, 75, 77, 79, 82, 85, 88, 89),
)
READ = {0: (71.0, 80.5), 21: (49.0, 55.5), 49: (31.0, 34.5), 84: (21.8, 23.6), 112: (18.6, 19.4)}


def drying(width: int) -> str:
    """The drying of two sample boards, oven dry at first, with a target and the range of its dates."""
    line = seasonal_line(CLIMATE, STACKED)
    pairs = [(float(day), mc) for day, values in READ.items() for mc in values]
    days, values = [day for day, _ in pairs], [mc for _, mc in pairs]
    curve = fit_curve(days, values, line, 2)
    dates = target_dates(curve, replicate(curve, days, values, ["a", "b"] * len(READ)), 17.0, STACKED)
    dots = [ReadingDot(STACKED + dt.timedelta(days=day), mc, day < 40) for day, mc in pairs]
    return drying_picture(
        [*dots, ReadingDot(STACKED, None)],
        line,
        STACKED,
        name="look-drying",
        title="How dry is stack K3-1?",
        note="10 readings of 2 boards; mean and its 95 % range of dates",
        curve=curve,
        dates=dates,
        target_pct=17.0,
        width=width,
    )


STAGES = (
    StageBar("Felled", "tree", 18, 18),
    StageBar("Cut to logs", "tree", 16, 18, "", "#pictures"),
    StageBar("Labelled", "log", 40, 52, "", "#pictures"),
    StageBar("Sawn", "log", 12, 52, "", "#pictures"),
    StageBar("Stacked", "board", 0, 131, "", "#pictures"),
    StageBar("Dried", "board", 0, 131, "", "#pictures"),
    StageBar("Graded", "board", 0, 131, "", "#pictures"),
)


def pieces(colour: Callable[[int], str]) -> list[SawnPiece]:
    """The boards of the sample log."""
    return [
        SawnPiece(
            code=f"K3-0412-1-{flitch}{'ab'[piece]}",
            flitch=flitch,
            piece=piece,
            thickness_mm=28,
            width_mm=width,
            label=f"{flitch}{'ab'[piece]}" if len(widths) > 1 else str(flitch),
            words=f"{width} mm wide",
            href="#pictures",
            css=colour(grade),
        )
        for flitch, (widths, grades) in enumerate(FLITCHES, start=1)
        for piece, (width, grade) in enumerate(zip(widths, grades, strict=True))
    ]


def graded(step: int) -> str:
    return "grade-9 reject" if step == 9 else f"grade-{step}"


def samples() -> list[dict[str, str]]:
    """Pictures of the living page: the function in words, and the two layouts."""
    note = "Small end; 8 flitches, 11 boards; sawn 3 June 2025"
    ends = placed_by_flitch(pieces(graded), kerf_mm=3)
    plain = placed_by_flitch(pieces(lambda step: ""), kerf_mm=3)
    draw = {
        "log_end(diameter, heart, placed_by_flitch(pieces, kerf), name=…, title=…)": lambda w: log_end(
            288,
            171,
            ends,
            diameter2_mm=294,
            name="look-end",
            title="Where the grades of K3-0412-1 lay in the log",
            note=note,
            inferred=True,
            width=w,
        ),
        "log_end(…) without colours, heartwood not measured": lambda w: log_end(
            288, None, plain, name="look-plain", title="K3-0412-1", note=note, inferred=True, width=w
        ),
        "stem(logs, name=…, title=…)": lambda w: stem(
            LOGS,
            name="look-stem",
            title="Four logs of K3-0412",
            note="Diameters under bark; felled 28 May 2025",
            tree_height_m=21.4,
            width=w,
        ),
        "drying_picture(readings, line, start, name=…, title=…, curve=…, dates=…)": drying,
    }
    draw["progress(stages, name=…, title=…)"] = lambda w: progress(
        STAGES, name="look-progress", title="How far is the study?", width=w
    )
    return [{"tag": tag, "wide": make(WIDE), "narrow": make(NARROW)} for tag, make in draw.items()]
