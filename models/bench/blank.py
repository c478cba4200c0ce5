"""A readings file to fill in: what to read, in the order one reads it, each line with its unit."""

from __future__ import annotations

import json

_TEXT = """\
# Readings of {name}. Put numbers between the quotes, keep the units, delete what you did not read.
# Several readings of one thing stand by commas: ["402 g", "401 g", "402 g"]. Ounces and inches will do too.
# CAUTION: {caution}
schema = 1
truck = {quoted}
date = ""

# The whole truck, pack in, read three times.
whole = [" g", " g", " g"]

# Tape measure: axle to axle, tyre centre to tyre centre, bench to the middle of each axle. Left out: as on the sheet.
# wheelbase = " mm"
# track_front = " mm"
# track_rear = " mm"
# axle_height_front = " mm"
# axle_height_rear = " mm"

# Tilted on a board until it tipped, read once: over its left side, its right, backwards nose up, over its nose.
# tipped_left = " deg"
# tipped_right = " deg"
# tipped_back = " deg"
# tipped_front = " deg"

# How fine your scale shows.
[scale]
step = "1 g"

# Both wheels of an axle on the scale, the others on a block as high ...
[axles]
front = [" g"]
rear = [" g"]

# ... or each wheel by itself: then delete [axles] above.
# [wheels]
# front_left = [" g"]
# front_right = [" g"]
# rear_left = [" g"]
# rear_right = [" g"]

# One axle lifted, the scale under the other: gives the CG height. `cragbench measure` says how. Copy it for each lift.
# [[lift]]
# raised = "rear"
# height = " mm"
# load = [" g"]

# A part weighed by itself; of a pair, one. Copy it for each part.
# [[part]]
# name = "battery"
# mass = [" g"]
"""


def blank_readings(name: str, caution: str) -> str:
    """Write the text of a readings file for a truck of this name."""
    shown = " ".join(name.split())
    return _TEXT.format(name=shown, quoted=json.dumps(shown, ensure_ascii=False), caution=caution)
