"""Keeps the motion of a trial at a fixed interval, for replay and pictures."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.physics.arrays import M_CURRENT, S_Q, S_QD, U_DUTY, U_VOLTAGE, W_FX
from sim.physics.observe import V_MARGIN, V_S
from sim.physics.rotation import quaternion
from sim.physics.simulation import Simulation
from sim.trial.result import Trace

Array = NDArray[np.float64]


class Recorder:
    """Copies what a picture needs out of a running simulation."""

    def __init__(self, simulation: Simulation, interval: float) -> None:
        self._simulation = simulation
        self._interval = interval
        self._next = 0.0
        self._rows: list[tuple[Array, ...]] = []

    def take(self, time: float, view: Array, steer: float) -> None:
        """Keep the present moment if its turn has come; ``time`` in s, ``steer`` in rad."""
        if time + 1.0e-9 < self._next:
            return
        self._next += self._interval
        s = self._simulation
        chassis = np.concatenate([s.points[0, 0, :3], quaternion(s.frames[0])])
        volts = s.arrays.drive.volts * s.controls[U_VOLTAGE]
        extra = np.array([view[V_S], steer, s.memory[M_CURRENT], volts * s.controls[U_DUTY]])
        self._rows.append((
            np.array(time),
            chassis,
            s.state[S_Q:S_QD].copy(),
            s.wheels[:, W_FX : W_FX + 3].copy(),
            s.contact.copy(),
            np.array(view[V_MARGIN]),
            extra,
        ))

    def trace(self) -> Trace:
        """Everything kept so far."""
        columns = [np.stack(column) for column in zip(*self._rows, strict=True)]
        return Trace(self._interval, *columns)
