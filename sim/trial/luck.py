"""What luck a trial meets, drawn from the study's seed and the place, never from the truck.

Two configurations that share (study seed, obstacle, level, repeat) meet the same start, grip, rocks, battery and
driver, so that their difference is paired.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from models.spec import Spec
from terrain import file_name
from terrain.families.registry import FAMILIES


class Variation(Spec):
    """How much of each kind of luck a study lets in; zero switches one off.

    Offsets, heading and voltage are uniform within plus or minus the value; grip and centre of gravity are normal
    with the value as standard deviation, cut at three.
    """

    start_offset_mm: Annotated[float, Field(ge=0, le=500)] = 8.0
    heading_deg: Annotated[float, Field(ge=0, le=45)] = 2.0
    grip_percent: Annotated[float, Field(ge=0, le=30)] = 4.0
    voltage_percent: Annotated[float, Field(ge=0, le=30)] = 3.0
    roughness_mm: Annotated[float, Field(ge=0, le=50)] | None = None
    """Height (root mean square) of the ground's random texture; left out, the obstacle's own. Every repeat has
    its own rocks."""
    both_sides: bool = True
    """Ground that treats left and right differently is mirrored in every other repeat."""
    cg_mm: tuple[
        Annotated[float, Field(ge=0, le=50)], Annotated[float, Field(ge=0, le=50)], Annotated[float, Field(ge=0, le=50)]
    ] = (0.0, 0.0, 0.0)
    """Uncertainty of the centre of gravity along x, y, z, as it follows from the scale's accuracy."""


@dataclass(frozen=True)
class Draw:
    """The luck of one repeat, in the units of the bench."""

    offset_mm: float
    """Sideways from the lane at the start, left positive."""
    heading_deg: float
    grip_scale: float
    voltage_scale: float
    roughness_mm: float | None
    cg_mm: tuple[float, float, float]
    rock_seed: int
    driver_seed: int
    mirrored: bool = False
    """Whether left and right of the ground are exchanged."""

    def text(self) -> str:
        """Canonical JSON, exact to the bit."""
        said = {key: value for key, value in asdict(self).items() if key != "mirrored" or value}
        return json.dumps(said, sort_keys=True, separators=(",", ":"))

    @staticmethod
    def from_text(text: str) -> Draw:
        """Inverse of :meth:`text`."""
        fields = json.loads(text)
        return Draw(**{**fields, "cg_mm": tuple(fields["cg_mm"])})


def draw(variation: Variation, study_seed: int, obstacle: str, level: float, repeat: int) -> Draw:
    """Draw the luck of one repeat.

    The generator is seeded with a hash of the four keys alone. All numbers are drawn in a fixed order whether or
    not they are used, so that switching one kind of luck off leaves the others as they were.
    """
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(_entropy(study_seed, obstacle, level, repeat))))
    offset, heading, voltage = (float(x) for x in rng.uniform(-1.0, 1.0, 3))
    grip, x, y, z = (float(v) for v in np.clip(rng.standard_normal(4), -3.0, 3.0))
    rock_seed, driver_seed = (int(s) for s in rng.integers(0, 2**31, 2))
    return Draw(
        offset_mm=variation.start_offset_mm * offset,
        heading_deg=variation.heading_deg * heading,
        grip_scale=1.0 + 0.01 * variation.grip_percent * grip,
        voltage_scale=1.0 + 0.01 * variation.voltage_percent * voltage,
        roughness_mm=variation.roughness_mm,
        cg_mm=(variation.cg_mm[0] * x, variation.cg_mm[1] * y, variation.cg_mm[2] * z),
        rock_seed=rock_seed,
        driver_seed=driver_seed,
        mirrored=variation.both_sides and one_sided(obstacle) and repeat % 2 == 1,
    )


def one_sided(obstacle: str) -> bool:
    """Whether an obstacle treats left and right differently, so that it is driven on both sides by turns."""
    family = FAMILIES.get(obstacle.partition(",")[0])
    return family is not None and family.one_sided


def level_text(level: float) -> str:
    """One way to write a level, so that 30 and 30.0 are the same place."""
    return format(float(level), ".9g")


def _entropy(study_seed: int, obstacle: str, level: float, repeat: int) -> list[int]:
    # The luck of a scan is the same in every folder it may lie in.
    key = json.dumps([study_seed, file_name.without_folder(obstacle), level_text(level), repeat])
    digest = hashlib.sha256(key.encode()).digest()
    return [int.from_bytes(digest[i : i + 4], "big") for i in range(0, 32, 4)]
