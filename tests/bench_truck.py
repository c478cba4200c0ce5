"""The invented 1/24 as the truth behind simulated readings."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from models import scenario
from models.bench.intake import Weighing, weighing
from models.bench.readings import Readings
from models.bench.simulate_readings import Instruments, Truth, simulate_readings, truth_of
from models.configuration import load_configuration
from models.record import validated
from models.spec import Sheet

KITCHEN = Instruments(step=1e-3, scatter=0.6e-3, zero=1e-3, ruler=0.5e-3)
"""A kitchen scale that shows whole grams, and a steel ruler."""
EXACT = Instruments(step=1e-7, scatter=0.0, zero=0.0, ruler=0.0)


@lru_cache(maxsize=4)
def small_truck() -> Sheet:
    """Resolved sheet of the smallest invented truck."""
    return load_configuration(scenario.builds()[0]).sheet


def truth() -> Truth:
    """Its mass and centre of gravity."""
    return truth_of(small_truck())


def parsed(data: dict[str, Any]) -> Readings:
    """A readings file's data, validated."""
    return validated(Readings, data)


def weighed(real: Truth, tools: Instruments, seed: int, **how: Any) -> Weighing:
    """One simulated session at the bench."""
    return weighing(parsed(simulate_readings(real, tools, np.random.default_rng(seed), **how)), small_truck())
