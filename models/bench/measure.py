"""All bench measurements of a readings file, by procedure."""

from __future__ import annotations

from collections.abc import Callable

from models.bench import measure_chassis as chassis
from models.bench import measure_tyres as tyres
from models.bench.block_pull import block_pull
from models.bench.measurement import Measurement, Setting
from models.bench.readings import Readings
from models.spec import Sheet

_BY_NAME: dict[str, Callable[[Readings, Sheet], list[Measurement]]] = {
    "squish": tyres.squish,
    "foam_gap": tyres.foam_gap,
    "block_pull": block_pull,
    "slip_board": tyres.slip_board,
    "tilt": tyres.tilt,
    "sag": chassis.sag,
    "spring": chassis.spring,
    "steering": chassis.steering,
    "turning_circle": chassis.turning_circle,
    "servo": chassis.servo,
    "wheel_speed": chassis.wheel_speed,
    "gear_count": chassis.gear_count,
}


def measure(readings: Readings, sheet: Sheet, only: str | None = None) -> list[Measurement]:
    """Work out every measurement in the file, or those of one procedure.

    :param sheet: resolved build sheet, for comparison and for what a formula needs besides.
    :raises BuildSheetError: a reading that cannot be.
    """
    return [found for name, work in _BY_NAME.items() if only in (None, name) for found in work(readings, sheet)]


def settings_of(measurements: list[Measurement]) -> list[Setting]:
    """All values for the sheet; of two for one key the first stays."""
    kept: dict[tuple[str, ...], Setting] = {}
    for measurement in measurements:
        for setting in measurement.settings:
            kept.setdefault(setting.key, setting)
    return list(kept.values())
