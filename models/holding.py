"""Do the links hold the axle? Which motion is left when they do not."""

from __future__ import annotations

import numpy as np

from models.ends import ends
from models.errors import BuildSheetError
from models.linkage import Rods, axle_rods, constraint_matrix
from models.spec import Sheet

_HEAVE, _ROLL = 2, 3
_WORDS = {
    0: ("slide forward and back", "Let the links run lengthwise."),
    1: ("slide sideways", "Angle the upper or lower pair inwards (triangulate it), or use one link as a panhard rod."),
    4: ("wind up about its own shaft", "Set the upper links higher above the lower ones where they meet the axle."),
    5: ("swing round, one wheel ahead of the other", "Set the ends of one pair farther apart on the axle."),
}
_LOOSE = 0.01
"""Least stretch of a link for a unit of motion, rotations counted at a link's length: below it nothing is held."""


def check_links(sheet: Sheet) -> None:
    """Check that the links of both axles leave only bump and roll.

    Small motions (v, w) of the axle that keep every rod's length satisfy u_i . (v + w x p_i) = 0. With the axle's
    middle kept from rising and the axle from rolling, a seventh motion must not remain.

    :raises BuildSheetError: naming the axle and the motion that is left.
    """
    for end, axle, tyre in ends(sheet):
        rods = axle_rods(axle, tyre.outside_diameter_mm / 2000.0)
        motion = loose_motion(rods)
        if motion is not None:
            words, remedy = _WORDS[motion]
            raise BuildSheetError(f"these four links do not hold the {end} axle: it can {words}.", remedy=remedy,
                                  field=f"axles.{end}.links")


def loose_motion(rods: Rods) -> int | None:
    """Find the motion that the rods fail to hold: 0 x, 1 y, 4 pitch, 5 yaw of the axle; None if held."""
    reach = float(np.mean(rods.lengths))
    rows = constraint_matrix(rods) / np.array([1.0, 1.0, 1.0, reach, reach, reach])
    held = np.delete(rows, [_HEAVE, _ROLL], axis=1)
    _, singular, motions = np.linalg.svd(held)
    if singular[-1] >= _LOOSE:
        return None
    free = motions[-1]
    return (0, 1, 4, 5)[int(np.argmax(np.abs(free)))]
