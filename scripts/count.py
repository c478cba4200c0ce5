"""Count the work of one compiled step: a figure that does not depend on the machine or on how busy it is.

    python3 scripts/count.py             count and compare with the recorded figures
    python3 scripts/count.py --record    count and record them in scripts/kernel_counts.json

The kernels are run as plain Python, uncompiled, and every executed source line of theirs is counted, in a few still
scenes. A change that visits more cells, samples the ground more often or loops where it did not shows up exactly.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from types import FrameType
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
RECORD = ROOT / "scripts" / "kernel_counts.json"
BUILD = "gundi.toml"
CALLS = 3
ALLOWED = 1.02
"""More than this times the record is a step back."""
SCENES: dict[str, tuple[float, float]] = {
    "in the air": (0.0, 1.0),
    "four tyres on the flat": (0.0, 0.0),
    "front tyres against a ledge": (0.030, 0.0),
    "belly on the ledge": (0.110, 0.004),
}
"""Shift forward and up from the start, m. The ledge stands 0.19 m ahead of the rear axle's start and is 30 mm high."""


def still() -> Any:
    """The engine, put back after every step so that a scene stays as it is."""
    from sim.physics.engine_compiled import TreeEngine

    class Still(TreeEngine):
        """Does a step's whole work and forgets where it led."""

        def reset(self, state: Any) -> None:
            """Stand there."""
            super().reset(state)
            self._held = state.copy()

        def run(self, steps: int, arguments: Any) -> None:
            """Take each step from the same place."""
            for _ in range(steps):
                super().run(1, arguments)
                super().reset(self._held)

    return Still


class LineCounter:
    """Counts executed lines of the kernel files."""

    def __init__(self) -> None:
        from sim.physics.compiled import kernel_files

        self._files = {str(path) for name, path in kernel_files().items() if name.startswith("sim.physics.")}
        self.lines = 0

    def __call__(self, frame: FrameType, event: str, _: object) -> Any:
        """Trace function: follow kernel code, leave all else alone."""
        if frame.f_code.co_filename not in self._files:
            return None
        if event == "line":
            self.lines += 1
        return self


def count() -> dict[str, int]:
    """Executed lines per step of every scene."""
    import numpy as np

    from models.assemble import rigid_model
    from models.scenario import DATA
    from models.sheet import load_sheet
    from sim.physics.simulation import Simulation
    from terrain.heightfield import Heightfield

    model = rigid_model(load_sheet(DATA / BUILD))
    heights = np.zeros((300, 200))
    heights[145:, :] = 0.030
    ground = Heightfield.of(heights, (-0.1, -0.2), 0.002)
    engine, counts = still(), {}
    for scene, (forward, up) in SCENES.items():
        with Simulation(model, ground, engine=engine) as simulation:
            simulation.put(np.array([forward, 0.0, up]), np.eye(3))
            simulation.command(0.2, 0.1, False)
            simulation.advance(1)
            counter = LineCounter()
            sys.settrace(counter)
            try:
                simulation.advance(CALLS)
            finally:
                sys.settrace(None)
            counts[scene] = round(counter.lines / CALLS)
    return counts


def main() -> int:
    """Count, then record or compare."""
    if os.environ.get("NUMBA_DISABLE_JIT") != "1":
        # Read by the compiler when it is imported, so it has to be there from the start.
        os.execve(sys.executable, [sys.executable, *sys.argv], os.environ | {"NUMBA_DISABLE_JIT": "1"})
    sys.path.insert(0, str(ROOT))
    counts = count()
    if "--record" in sys.argv[1:]:
        RECORD.write_text(json.dumps(counts, indent=2) + "\n", encoding="utf-8")
        print(f"recorded {counts}")
        return 0
    recorded = json.loads(RECORD.read_text(encoding="utf-8"))
    for scene, n in counts.items():
        print(f"{scene:30s} {n:7d} lines a call, recorded {recorded[scene]:7d} ({n / recorded[scene] - 1.0:+.1%})")
    if any(n > ALLOWED * recorded[scene] for scene, n in counts.items()):
        print("The kernel does more work than recorded. Find out why, or record anew and say why in the commit.")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
