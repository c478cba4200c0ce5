"""Links that do not hold their axle are found, and the motion that is left is named."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.errors import BuildSheetError
from models.holding import check_links, loose_motion
from models.linkage import Rods
from models.sheet import load_sheet
from models.spec import Sheet

SHEET = load_sheet(scenario.builds()[0])


def _with_rear_links(chassis: list[tuple[float, float, float]], axle: list[tuple[float, float, float]]) -> Sheet:
    links = tuple(
        link.model_copy(update={"chassis_mm": c, "axle_mm": a})
        for link, c, a in zip(SHEET.axles.rear.links, chassis, axle, strict=True)
    )
    rear = SHEET.axles.rear.model_copy(update={"links": links})
    return SHEET.model_copy(update={"axles": SHEET.axles.model_copy(update={"rear": rear})})


@pytest.mark.parametrize(
    ("chassis", "axle", "motion"),
    [
        # Four rods straight along x: nothing holds the axle sideways.
        (
            [(50, 20, 30), (50, -20, 30), (40, 10, 42), (40, -10, 42)],
            [(4, 20, 30), (4, -20, 30), (2, 10, 42), (2, -10, 42)],
            "slide sideways",
        ),
        # All rods in one level plane through the axle's shaft: they cannot take its torque.
        (
            [(50, 13, 27), (50, -13, 27), (40, 20, 27), (40, -20, 27)],
            [(0, 23, 27), (0, -23, 27), (0, 5, 27), (0, -5, 27)],
            "wind up about its own shaft",
        ),
        # All rods straight down: nothing holds it lengthwise either.
        (
            [(0, 23, 60), (0, -23, 60), (10, 10, 60), (10, -10, 60)],
            [(0, 23, 27), (0, -23, 27), (10, 10, 27), (10, -10, 27)],
            "",
        ),
    ],
    ids=["parallel", "one plane", "upright"],
)
def test_loose_axle_is_named(
    chassis: list[tuple[float, float, float]], axle: list[tuple[float, float, float]], motion: str
) -> None:
    with pytest.raises(BuildSheetError) as fault:
        check_links(_with_rear_links(chassis, axle))
    assert str(fault.value).startswith(f"axles.rear.links: these four links do not hold the rear axle: it can {motion}")


def test_the_scenarios_axles_are_held() -> None:
    for path in scenario.builds():
        check_links(load_sheet(path))


@given(st.lists(st.floats(-0.03, 0.03), min_size=12, max_size=12))
def test_what_is_called_held_is_held(shift: list[float]) -> None:
    # By brute force: if the check passes, pinning the axle's middle against rising and the axle against rolling
    # leaves no small motion that keeps all rod lengths to first order.
    good = SHEET.axles.rear.links
    p_axle = np.array([link.axle_mm for link in good]) / 1000 + np.array(shift).reshape(4, 3)
    p_chassis = np.array([link.chassis_mm for link in good]) / 1000
    rods = Rods(p_axle, p_chassis, np.array([0.0, 0.0, 0.027]))
    if loose_motion(rods) is not None:
        return
    step = 1e-6
    growth = np.zeros((4, 4))
    for column, axis in enumerate((0, 1, 4, 5)):
        v, w = np.zeros(3), np.zeros(3)
        (v if axis < 3 else w)[axis % 3] = 1.0
        moved = p_axle + step * (v + np.cross(w, p_axle - rods.centre))
        growth[:, column] = (np.linalg.norm(p_chassis - moved, axis=1) - rods.lengths) / step
    assert np.linalg.matrix_rank(growth, tol=1e-4) == 4
