"""Pictures of the room: a log end with its pith cell, and with the place of a board."""

from __future__ import annotations

import math

from portal.calc.svg import NARROW, WIDE
from sawing.calc.pictures import EndBoard, log_end
from sawing.labels.queries import EndRead, diameters_mm, drawn, on_log
from sawing.links import board_url
from sawing.models import LabelSheet


def sheet_picture(sheet: LabelSheet) -> tuple[str, str]:
    """An end with the outermost cells of its pith row and column marked, so that a wrongly read pith stands out."""
    seated, codes = on_log(sheet), drawn(sheet).cells
    in_row = [col for row, col in codes if row == seated.pith_row] or [seated.pith_col]
    in_col = [row for row, col in codes if col == seated.pith_col] or [seated.pith_row]
    marks = [
        (min(in_col), seated.pith_col, "first row of codes"),
        (max(in_col), seated.pith_col, "last row of codes"),
        (seated.pith_row, min(in_row), "first column of codes"),
        (seated.pith_row, max(in_row), "last column of codes"),
        (seated.pith_row, seated.pith_col, "over the pith"),
    ]
    cells = [_cell(sheet, row, col, words) for row, col, words in marks]
    known = (
        "cell over the pith as read"
        if sheet.pith_row is not None
        else "marked cell taken to be over the pith"
    )
    return _drawn(sheet, cells, f"sheet-{sheet.pk}", "How does the sheet sit on the log?", known)


def place_picture(read: EndRead) -> tuple[str, str]:
    """An end with the cells that were read, and the board's rectangle where its sizes are known."""
    sheet, place, board = read.sheet, read.place, read.board
    marks: list[EndBoard] = []
    if board is not None and place is not None and abs(place.angle_deg) < 10:
        marks.append(
            EndBoard(
                board.code,
                place.x_mm - board.width_mm / 2,
                place.y_mm - board.thickness_mm / 2,
                board.width_mm,
                board.thickness_mm,
                words=f"{board.thickness_mm:g} × {board.width_mm:g} mm",
                href=board_url(board.study, board.code),
            )
        )
    marks += [_cell(sheet, one.code.row, one.code.col, one.text) for one in read.codes if one.code]
    name = f"place-{sheet.pk}-{board.pk if board else 0}"
    title = f"Where in the log is board {board.code}?" if board else "Where in the log were the codes read?"
    note = "place from one code: its cell taken for the board’s middle" if place and place.inferred else ""
    return _drawn(sheet, marks, name, title, note)


def _cell(sheet: LabelSheet, row: int, col: int, words: str) -> EndBoard:
    x, y = on_log(sheet).place(row, col)
    half = sheet.pitch_mm / 2
    return EndBoard(f"Cell {row}, {col}", x - half, y - half, sheet.pitch_mm, sheet.pitch_mm, words=words)


def _drawn(sheet: LabelSheet, marks: list[EndBoard], name: str, title: str, note: str) -> tuple[str, str]:
    log = sheet.serial.log
    first, second = diameters_mm(log, int(sheet.end == "top"))
    heart = log.heart_sed_mm if sheet.end == "top" else log.heart_led_mm
    if heart is not None and (math.isnan(heart) or heart > max(first, second)):
        heart = None  # a mistaken reading; the log's page lists it
    words = "; ".join(part for part in (f"{sheet.end} end, looked at from the butt", note) if part)
    wide, narrow = (
        log_end(
            first, heart, marks, name=f"{name}-{width}", title=title, note=words, diameter2_mm=second,
            bark=f"{log.bark} bark", width=width,
        )
        for width in (WIDE, NARROW)
    )  # fmt: skip
    return wide, narrow
