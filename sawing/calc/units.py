"""Board feet and cubic metres. Exact by the definition of the inch (25.4 mm)."""

from __future__ import annotations

from sawing.calc.log_geometry import Value

CUBIC_METRES_PER_BOARD_FOOT = 0.3048 * 0.3048 * 0.0254
BOARD_FEET_PER_CUBIC_METRE = 1.0 / CUBIC_METRES_PER_BOARD_FOOT


def board_feet_to_m3(board_feet: Value) -> Value:
    """Cubic metres in so many board feet (12 in x 12 in x 1 in of wood).

    Board feet counted on nominal sizes give nominal cubic metres, never actual ones.
    """
    return board_feet * CUBIC_METRES_PER_BOARD_FOOT


def m3_to_board_feet(volume_m3: Value) -> Value:
    """Board feet in a volume in m3."""
    return volume_m3 * BOARD_FEET_PER_CUBIC_METRE
