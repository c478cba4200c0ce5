"""One name for one quantity: what sheet, page, report and charts call it, and the guide explains."""

from __future__ import annotations

FRONT_BIAS = "front bias"
CG_HEIGHT = "CG height"
SIDEWAYS = "tips sideways"
BACK = "tips back on a climb"
OVER = "noses over on a descent"
EDGE = "stability: nearest edge of the footprint"
RISE = "stability: rise before it goes over"
SLIDES_BACK = "slides on a climb"
SLIDES_SIDEWAYS = "slides on a side-hill"
APPROACH, BREAKOVER, DEPARTURE = "approach", "breakover", "departure"
STANDING = (FRONT_BIAS, CG_HEIGHT, SIDEWAYS, BACK, OVER, EDGE, RISE, SLIDES_BACK, SLIDES_SIDEWAYS, APPROACH, BREAKOVER,
            DEPARTURE)  # fmt: skip
"""What is known of a truck at rest."""
