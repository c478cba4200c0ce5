"""Arrays of numbers: the one type of every place, direction, load and curve; shape, unit and frame stand where used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
