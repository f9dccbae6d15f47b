"""Are board ends read, spoilt as they are at a mill, and is anything misread?

Board ends of 25 × 100 mm are cut from sheets (Data Matrix of 7 dots) at random places and any skew, photographed
at any angle at 4 and 6 pixels a mm, and spoilt: mildly, harshly, and beyond what is promised. Asked: one code read
in all mildly and in 97 % of harshly spoilt ends; no wrong reading accepted among 10,000. Simulated pictures: ten
real log ends will tell more. `python benchmarks/labels.py 100` takes 100 ends of each kind instead of 400.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from portal.codes.reading import read_picture
from sawing.labels.reading import is_label, labels_in_picture
from tests.sawing.spoilt_slices import HARSH, MILD, RUINED, cut

ENDS = 400
PROMISED = {"mild": 1.0, "harsh": 0.97}


def main(ends: int) -> int:
    """Print a line for each kind of spoiling and resolution; 1 when a promise is not kept."""
    broken = readings = wrong = 0
    print(f"{ends} board ends each; read: at least one code, in the whole picture / with enlarged windows")
    for spoiling in (MILD, HARSH, RUINED):
        for pixels_per_mm in (4, 6):
            rng = np.random.default_rng(16022)
            first = read = fewest = 0
            milliseconds: list[float] = []
            counted: list[int] = []
            kind_ends = ends if spoiling.name in PROMISED else ends // 4
            for _ in range(kind_ends):
                board = cut(rng, spoiling, pixels_per_mm=pixels_per_mm)
                first += bool(read_picture(board.picture, accept=is_label, enough=0))
                began = time.perf_counter()
                found = labels_in_picture(board.picture)
                milliseconds.append(1000 * (time.perf_counter() - began))
                read += bool(found)
                counted.append(len(found))
                wrong += sum(code.text not in board.there for code, _ in found)
                fewest = min(fewest or 99, len(board.whole))
            readings += sum(counted)
            share = read / kind_ends
            broken += share < PROMISED.get(spoiling.name, 0)
            print(
                f"{spoiling.name:7s} {pixels_per_mm} px/mm: {first / kind_ends:6.1%} / {share:6.1%}; "
                f"{np.mean(counted):4.1f} codes a board; fewest whole {fewest}; "
                f"{np.median(milliseconds):.0f} ms, at most {max(milliseconds):.0f} ms",
                flush=True,
            )
    print(f"{readings} codes accepted, {wrong} of them wrong")
    return int(bool(broken or wrong))


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else ENDS))
