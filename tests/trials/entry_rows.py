"""A made-up visit to one site for the tests of entry checks: sound rows, to be spoilt one way at a time."""

from __future__ import annotations

import numpy as np
import pandas as pd

ROWS, COLS = 4, 25


def sound_visit(seed: int = 0) -> pd.DataFrame:
    """100 trees, measured three years ago and now: nothing wrong with them."""
    rng = np.random.default_rng(seed)
    n = ROWS * COLS
    # Kept off the ends, so that no single tree is far from the others.
    last = np.round(np.clip(rng.normal(180, 35, n), 110, 260))
    now = np.round(last + np.clip(rng.normal(30, 5, n), 18, 42))
    height = np.round(1.3 + (0.27 + 0.77 / (now / 10)) ** -2.5 + np.clip(rng.normal(0, 0.5, n), -1, 1), 1)
    place = np.arange(n)
    return pd.DataFrame(
        {
            "tree": [f"T{i:03d}" for i in place],
            "site": "S",
            "row": place // COLS,
            "col": place % COLS,
            "plot": place // 20,
            "crew": np.where(place % 2 == 0, "A", "B"),
            "alive": True,
            "last_alive": True,
            "years": 3.0,
            "dbh_mm": now,
            "last_dbh_mm": last,
            "height_m": height,
            "last_height_m": np.round(height - np.clip(rng.normal(2.0, 0.3, n), 1.2, 2.8), 1),
        },
        index=[f"m{i}" for i in place],
    )


def spoilt(column: str, at: int, value: object, seed: int = 0) -> pd.DataFrame:
    """The sound visit with one value changed."""
    rows = sound_visit(seed)
    rows.loc[f"m{at}", column] = value
    return rows
