"""Invented figures that show the pictures of logs on the living page /look/."""

from collections.abc import Callable

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
    }
    return [{"tag": tag, "wide": make(WIDE), "narrow": make(NARROW)} for tag, make in draw.items()]
