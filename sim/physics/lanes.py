"""Who does what of a step: one lane all of it on a processor; on a graphics processor four, a wheel each.

The tyres are four fifths of a step. Where four lanes work together, each takes the tyre of its wheel and the first does
the rest; :func:`meet` is where they wait for each other.
"""

from __future__ import annotations

from collections.abc import Callable

from numba.extending import overload

from sim.physics.compiled import kernel

ALONE = -1
"""Lane of who has nobody beside."""
LANES = 4
"""Lanes that work together, one a wheel."""


def _pass() -> None:
    """On a processor nobody is beside."""


wait: Callable[[], None] = _pass
"""Of what is not compiled: the simulator of a device has another."""


def meet(lane: int) -> None:
    """Wait for the lanes beside, if there are any. The compiler for the device has its own."""
    if lane != ALONE:
        wait()


def _go_on(lane: int) -> None:
    return


overload(meet, strict=False)(lambda lane: _go_on)


@kernel
def leads(lane: int) -> bool:
    """Whether this lane does what is not shared out."""
    return lane <= 0


@kernel
def wheels_of(lane: int) -> tuple[int, int]:
    """First wheel of a lane and the one after its last."""
    return (0, LANES) if lane == ALONE else (lane, lane + 1)
