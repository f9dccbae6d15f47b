"""The best graded piece: the same as trying every piece; more features or narrower freedom never help."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grading.calc.best_piece import GradingOptions, grade_boards
from grading.calc.graded_boards import GradedBoard
from grading.calc.rule_limits import GradingRules, Price
from tests.grading import piece_reference as slow
from tests.grading import random_boards as make

QUICK = GradingOptions(assessed=("all",), explain=False)


def graded(
    boards: list[dict[str, Any]],
    rows: list[dict[str, Any]],
    rules: GradingRules,
    prices: tuple[Price, ...] = (),
    options: GradingOptions = QUICK,
) -> list[GradedBoard]:
    return grade_boards(pd.DataFrame(boards), make.frame(rows), rules, prices, options)


def as_slow(board: dict[str, Any]) -> slow.Board:
    return slow.Board(round(board["length_m"] * 1000, 6), board["width_mm"], board["thickness_mm"])


@pytest.mark.parametrize("lot", range(20))
def test_best_piece_is_that_of_trying_every_piece_on_a_thousand_boards(lot: int) -> None:
    """Grade and piece, corner by corner, on 50 random boards for each of 20 random rule sets and price lists."""
    rng = random.Random(lot)
    rules = make.rules(rng)
    prices = make.prices(rng, rules) if lot % 3 else ()
    boards = [make.board(rng, f"b{n}") for n in range(50)]
    rows = [make.feature(rng, b) for b in boards for _ in range(rng.randint(0, 6))]
    for board, answer in zip(boards, graded(boards, rows, rules, prices), strict=True):
        own = [{k: v for k, v in r.items() if v is not None} for r in rows if r["board"] == board["board"]]
        expected = slow.best(as_slow(board), own, rules, prices)
        if expected is None:
            assert (answer.grade, answer.provisional) == ("X", ()), (board, own)
            continue
        grade, cut = expected
        piece = answer.provisional[0]
        found = (piece.grade, piece.from_mm, piece.to_mm, piece.from_edge_mm, piece.to_edge_mm)
        assert found == pytest.approx((grade.code, cut.x0, cut.x1, cut.y0, cut.y1), abs=1e-6), (board, own)
        assert piece.graded_width_mm == cut.booked


@pytest.mark.parametrize("lot", range(6))
def test_pieces_in_a_row_are_worth_as_much_as_any_row_of_pieces(lot: int) -> None:
    rng = random.Random(1000 + lot)
    rules = make.rules(rng, split=True)
    prices = make.prices(rng, rules)
    boards = [make.board(rng, f"b{n}") | {"length_m": rng.randint(30, 60) / 1000} for n in range(25)]
    rows = [make.feature(rng, b) for b in boards for _ in range(rng.randint(0, 5))]
    for board, answer in zip(boards, graded(boards, rows, rules, prices), strict=True):
        own = [{k: v for k, v in r.items() if v is not None} for r in rows if r["board"] == board["board"]]
        expected = slow.best_row_of_pieces(as_slow(board), own, rules, prices)
        pieces = answer.provisional
        assert max(worth(answer), 0) == expected
        for left, right in itertools.pairwise(pieces):
            assert right.from_mm >= left.to_mm + rules.piece.kerf_mm - 1e-9


def worth(answer: GradedBoard) -> int:
    """Price × booked area of all pieces as a whole number, -1 without a piece: sums of it have no rounding."""
    sizes = [
        round((p.price_per_m3 or 0) * 100) * round(p.graded_length_m * 1e4) * round(p.graded_width_mm * 10)
        for p in answer.provisional
    ]
    return sum(sizes) if sizes else -1


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_a_further_feature_never_raises_the_value(seed: int) -> None:
    rng = random.Random(seed)
    rules, board = make.rules(rng, split=rng.random() < 0.3), make.board(rng, "b")
    prices = make.prices(rng, rules)
    rows = [make.feature(rng, board) for _ in range(rng.randint(1, 8))]
    boards = [board | {"board": f"b{n}"} for n in range(len(rows) + 1)]
    growing = [row | {"board": f"b{n}"} for n in range(len(rows) + 1) for row in rows[:n]]
    values = [worth(answer) for answer in graded(boards, growing, rules, prices)]
    assert all(b <= a for a, b in itertools.pairwise(values)), values


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_a_looser_rule_never_lowers_the_value(seed: int) -> None:
    rng = random.Random(seed)
    rules, board = make.rules(rng, split=rng.random() < 0.3), make.board(rng, "b")
    prices = make.prices(rng, rules)
    rows = [make.feature(rng, board) for _ in range(rng.randint(1, 8))]
    before = worth(graded([board], rows, rules, prices)[0])
    at = rng.randrange(len(rules.limits))
    more = float("inf") if rng.random() < 0.3 else rules.limits[at].limit + rng.choice((0.1, 1, 5))
    loose = replace(rules.limits[at], limit=more)
    looser = replace(rules, limits=(*rules.limits[:at], loose, *rules.limits[at + 1 :]))
    assert worth(graded([board], rows, looser, prices)[0]) >= before


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_less_freedom_never_raises_the_value(seed: int) -> None:
    """No ripping, a coarser cut or rip lattice, fewer widths, a longer shortest length."""
    rng = random.Random(seed)
    rules, board = make.rules(rng), make.board(rng, "b")
    prices = make.prices(rng, rules)
    rows = [make.feature(rng, board) for _ in range(rng.randint(1, 8))]
    piece = rules.piece
    narrower = rng.choice(
        (
            {"may_rip": False, "keep_full_width": True} if piece.keep_full_width else {"min_width_mm": 25},
            {"cut_step_mm": 2 * piece.cut_step_mm},
            {"rip_step_mm": 2 * piece.rip_step_mm},
            {"widths_mm": piece.widths_mm[1:]} if len(piece.widths_mm) > 1 else {"min_width_mm": 25},
            {"length_module_mm": 20},
        )
    )
    before = worth(graded([board], rows, rules, prices)[0])
    after = worth(graded([board], rows, replace(rules, piece=replace(piece, **narrower)), prices)[0])
    assert after <= before


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_the_order_of_rows_and_other_boards_change_nothing(seed: int) -> None:
    rng = random.Random(seed)
    rules = make.rules(rng)
    prices = make.prices(rng, rules)
    boards = [make.board(rng, f"b{n}") for n in range(4)]
    rows = [make.feature(rng, b) for b in boards for _ in range(4)]
    together = graded(boards, rows, rules, prices)
    rng.shuffle(rows)
    assert [a.pieces for a in graded(boards, rows, rules, prices)] == [a.pieces for a in together]
    alone = [graded([b], rows, rules, prices)[0].pieces for b in boards]
    assert alone == [a.pieces for a in together]


@pytest.mark.parametrize("lot", range(8))
def test_what_decides_is_what_leaving_out_each_feature_in_turn_shows(lot: int) -> None:
    """Against grading the board anew without each of its features; and the grade of the whole board by trying it."""
    rng = random.Random(2000 + lot)
    rules = make.rules(rng, split=lot % 4 == 3)
    prices = make.prices(rng, rules)
    board = make.board(rng, "b")
    measures = {"size_mm": 5, "depth_mm": 2, "percent": 20}
    lots = [[make.feature(rng, board) for _ in range(rng.randint(1, 6))] for _ in range(12)]
    lots = [[r | {k: v for k, v in measures.items() if r[k] is None} for r in own] for own in lots]
    boards = [board | {"board": f"b{n}"} for n in range(len(lots))]
    rows = [row | {"board": f"b{n}"} for n, own in enumerate(lots) for row in own]
    options = replace(QUICK, explain=True)
    for n, answer in enumerate(graded(boards, rows, rules, prices, options)):
        own = [row | {"board": "b"} for row in lots[n]]
        without = [worth(graded([board], own[:i] + own[i + 1 :], rules, prices)[0]) for i in range(len(own))]
        first = sum(len(rows_before) for rows_before in lots[:n])
        noted = answer.deciding_feature
        if max(without) > worth(answer):
            assert noted is not None
            assert without[noted.row - first] == max(without)
        given = [{k: v for k, v in row.items() if v is not None} for row in own]
        seen = [f for f in (slow.seen(row, as_slow(board)) for row in given) if f is not None]
        whole = slow.Cut(0.0, as_slow(board).length, 0.0, board["width_mm"], board["width_mm"])
        holds = [g.code for g in rules.accepting if slow.passes(g, seen, whole, as_slow(board), rules)]
        assert answer.whole_board_grade == (holds[0] if holds else "X")
