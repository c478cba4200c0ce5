"""Paired experiments: two builds that meet the same draws of what is not known exactly, and the interval of their
difference."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from scipy.stats import t as student

from models.assemble import rigid_model
from models.rigid import RigidModel
from models.spec import Part, Sheet
from sim.validation.check import Measured, estimate

DRAWS = 6
Trial = Callable[[RigidModel], float]


def drawn(sheet: Sheet, seed: int) -> Sheet:
    """Return the truck as somebody else would have built it: masses off by a tenth, places by 2 % of the wheelbase.

    What happens to a part depends on the seed and its name alone, so that two builds share it.
    """

    def moved(part: Part) -> Part:
        rng = np.random.default_rng([seed, *part.name.encode()])
        grams = float(np.clip(rng.normal(1.0, 0.1), 0.7, 1.3))
        shift = np.clip(rng.normal(0.0, 0.02, 3), -0.04, 0.04) * sheet.wheelbase_mm
        change: dict[str, object] = {
            key: value * grams for key in ("mass_g", "mass_each_g") if (value := getattr(part, key)) is not None
        }
        if part.body == "chassis":
            x, y, z = part.at_mm
            change["at_mm"] = (x + float(shift[0]), y + 0.5 * float(shift[1]), z + float(shift[2]))
        return part.model_copy(update=change)

    return sheet.model_copy(update={"parts": tuple(moved(part) for part in sheet.parts)})


def differences(changed: Sheet, base: Sheet, trial: Trial, draws: int = DRAWS) -> list[float]:
    """``trial`` of the changed build less that of the base, once per draw."""
    found = []
    for seed in range(draws):
        one, other = (trial(rigid_model(drawn(sheet, seed))) for sheet in (changed, base))
        found.append(one - other)
    return found


def paired(found: Sequence[float], note: str = "", *, than: float = 0.0) -> Measured:
    """Mean of paired differences with its 95 % interval (Student, n - 1 degrees of freedom)."""
    n = len(found)
    mean = float(np.mean(found))
    half = float(student.ppf(0.975, n - 1) * np.std(found, ddof=1) / math.sqrt(n))
    return estimate(mean, mean - half, mean + half, f"n = {n} pairs{'; ' + note if note else ''}", than=than)
