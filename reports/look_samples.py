"""Invented figures that show the pictures of recovery on the living page /look/."""

from reports.calc.pictures import NARROW, WIDE, Bar, Dot, Part, Share, balance_bar, interval_dots, out_turn

GRADES = (
    ("Clear", "grade-0"),
    ("Small knots", "grade-2"),
    ("Sound knots", "grade-4"),
    ("Dead knots", "grade-7"),
    ("Reject", "grade-9 reject"),
)
PARTS = (
    Part("Graded boards", 7.28, "graded"),
    Part("Boards below grade", 0.71, "boards"),
    Part("Docked ends", 0.48, "loss"),
    Part("Headsaw kerf", 1.78, "kerf"),
    Part("Slabs and edgings", 3.62, "loss"),
    Part("Shrinkage", 0.34, "loss"),
)
BARS = (
    ("HL-07", (0.22, 0.31, 0.28, 0.13, 0.06), 6, 151, "clone-0"),
    ("HL-11", (0.14, 0.26, 0.33, 0.19, 0.08), 6, 148, "clone-1"),
    ("HL-19", (0.09, 0.18, 0.35, 0.26, 0.12), 5, 122, "clone-2"),
    ("HL-23", (0.03, 0.12, 0.31, 0.36, 0.18), 3, 64, "clone-3"),
    ("HL-51", (0.17, 0.22, 0.3, 0.21, 0.1), 6, 127, "clone-0 again"),
)
DOTS = (
    Dot("HL-07", 0.561, 0.532, 0.588, 6, 151, "clone-0"),
    Dot("HL-11", 0.534, 0.502, 0.561, 6, 148, "clone-1"),
    Dot("HL-51", 0.522, 0.47, 0.569, 6, 127, "clone-0 again"),
    Dot("HL-19", 0.507, 0.468, 0.541, 5, 122, "clone-2"),
    Dot("EL-C1", 0.489, 0.455, 0.52, 6, 139, "clone-6", control=True),
    Dot("HL-23", 0.452, 0.371, 0.548, 3, 64, "clone-3"),
    Dot("JL-C2", None, None, None, 1, 0, "clone-7", control=True),
)


def samples() -> list[dict[str, str]]:
    """Pictures of the living page: the tag's maker in words, and the two layouts."""
    bars = [
        Bar(name, [Share(g, s, css) for (g, css), s in zip(GRADES, shares, strict=True)], trees, boards, css)
        for name, shares, trees, boards, css in BARS
    ]
    note = "24 trees, 48 logs, 612 boards; green volumes; sawn June 2025"
    draw = {
        "balance_bar(parts, name=…)": lambda w: balance_bar(PARTS, name="look-balance", note=note, width=w),
        "out_turn(bars, name=…, title=…)": lambda w: out_turn(
            bars,
            name="look-grades",
            title="HL-07 gives the most clear boards",
            note="Share of graded volume by grade; invented rule set",
            width=w,
        ),
        "interval_dots(rows, name=…, title=…)": lambda w: interval_dots(
            DOTS,
            name="look-dots",
            title="Which clones give more board from a log?",
            note="Graded recovery, dry; 95 % intervals from resampling trees",
            reference=0.512,
            width=w,
        ),
    }
    return [{"tag": tag, "wide": make(WIDE), "narrow": make(NARROW)} for tag, make in draw.items()]
