"""A pull over a block with a spring scale, and the tyre stiffness that ``fit`` reads from it."""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from bench_truck import parsed, small_truck

from models import scenario
from models.assemble import rigid_model
from models.bench.block_pull import edge_pull, rigid_pull
from models.bench.measure import measure
from models.bench.session import fit, write
from models.errors import BuildSheetError
from models.massprops import GRAVITY, wheel_loads
from models.rigid import TyreRing
from models.spec import Sheet, Tyre
from sim.physics.arrays import W_FX
from sim.validation.driving import step_up
from sim.validation.tyre import Rig

SOFT = {"squish": None, "stiffness_n_per_mm": 0.35, "foam_gap_mm": 1.0, "foam_stiffness_n_per_mm": 0.2}


@lru_cache
def truck(times: float) -> Sheet:
    """The small truck on tyres without a squish table, so many times as stiff as :data:`SOFT`."""
    stiff = {k: v * times if v and "stiffness" in k else v for k, v in SOFT.items()}
    tyre: Tyre = small_truck().tyres.front.model_copy(update=stiff)
    return small_truck().model_copy(update={"tyres": small_truck().tyres.model_copy(update={"front": tyre})})


def ring(times: float) -> TyreRing:
    return rigid_model(truck(times)).tyres[0]


def load() -> float:
    return float(wheel_loads(truck(1.0)).load[:2].mean())


@lru_cache
def kernel_pull(times: float, height: float) -> float:
    """Largest pull (N) by the simulation's own kernel: a wheel pushed over a step on a fine grid."""
    radius = float(ring(times).row_radius.max())
    rig = Rig(rigid_model(truck(times)), step_up(height, 0.0, 0.0005, 0.08))
    places = np.linspace(-radius, 0.0, 30)
    for _ in range(2):
        push = [-float(rig.force(float(x), rig.lift(float(x), load()))[W_FX]) for x in places]
        k = int(np.argmax(push))
        places = np.linspace(places[k - 1], places[k + 1], 15)
    return max(push)


@pytest.mark.parametrize("height", [0.003, 0.006, 0.010])
def test_largest_pull_is_the_kernels(height: float) -> None:
    # Two sums over one field: this one plane by plane across the tread, a grid of half a
    # millimetre there. 1 % is a third of what a spring scale is off.
    assert edge_pull(ring(1.0), height, load()) == pytest.approx(kernel_pull(1.0, height), rel=0.01)


def test_between_nothing_and_the_rigid_wheel() -> None:
    # Pressed in by micrometres it is a rigid wheel, of a radius between crown and middle (0.9 mm of 27 mm).
    hard = [edge_pull(ring(1.0), 0.006, load() / k) / (load() / k) for k in (1.0, 4.0, 16.0, 64.0, 256.0)]
    rigid = rigid_pull(0.006, float(ring(1.0).row_radius.max()))
    assert hard == sorted(hard)
    assert 0.96 * rigid < hard[-1] < rigid


def entry(times: float, seed: int, height: float = 0.006) -> dict[str, object]:
    """Readings of a truck so stiff: a scale of one gram, tries that scatter by 4 %, a scale that is 1 % off."""
    rng = np.random.default_rng(seed)
    pull = 2000.0 * kernel_pull(times, height) / GRAVITY * (1.0 + 0.01 * rng.standard_normal())
    pulls = [f"{pull * (1.0 + 0.04 * rng.standard_normal()) + 6.0:.0f} g" for _ in range(5)]
    high = f"{1000.0 * height + 0.05 * rng.standard_normal():.1f} mm"
    return {"axle": "front", "height": high, "pulls": pulls, "rolling": ["6 g", "6 g"]}


@pytest.mark.parametrize("times", [0.6, 1.0, 1.7])
def test_stiffness_is_found_again_from_noisy_readings(times: float) -> None:
    inside, width = 0, []
    for seed in range(12):
        data = {"schema": 1, "truck": "x", "rulers": {"length": "0.1 mm"}, "block_pull": [entry(times, seed)]}
        (found,) = measure(parsed(data), truck(1.0))
        assert found.found is not None
        inside += found.found.low <= times <= found.found.high
        width.append(found.found.value / times)
        assert found.settings[0].value == pytest.approx(0.35 * found.found.value, abs=1e-4)
    # The interval allows for what the law may be off as well, which the kernel's own pulls are not: at least 95 %.
    assert inside >= 11
    assert float(np.median(width)) == pytest.approx(1.0, abs=0.06)
    assert max(width) / min(width) < 1.5


def test_fit_writes_the_stiffness(tmp_path: Path) -> None:
    document = tomlkit.parse(scenario.builds()[0].read_text(encoding="utf-8"))
    tyre = document["tyres"]["front"]  # type: ignore[index]
    del tyre["squish"]  # type: ignore[union-attr]
    for key, value in SOFT.items():
        if value is not None:
            tyre[key] = value  # type: ignore[index]
    build, readings, out = (tmp_path / f"{name}.toml" for name in ("build", "readings", "out"))
    build.write_text(tomlkit.dumps(document), encoding="utf-8")
    data = {"schema": 1, "truck": str(document["name"]), "simulated": True, "rulers": {"length": "0.1 mm"},
            "block_pull": [entry(1.7, 0)], "tilt": [{"to": "left", "angles": ["36 deg", "37 deg"]}]}  # fmt: skip
    readings.write_text(tomlkit.dumps(data), encoding="utf-8")
    # A tilt is there too: it leaves the stiffness alone, for this was measured by itself.
    new = write(fit(build, readings), out)
    assert new.tyres.front.stiffness_n_per_mm == pytest.approx(1.7 * 0.35, rel=0.25)
    assert new.tyres.front.foam_stiffness_n_per_mm == pytest.approx(
        new.tyres.front.stiffness_n_per_mm * 0.2 / 0.35, rel=1e-3
    )
    assert "pulled over a block" in out.read_text(encoding="utf-8")


def fault(**changes: object) -> str:
    data = {"schema": 1, "truck": "x", "block_pull": [entry(1.0, 0) | changes]}
    with pytest.raises(BuildSheetError) as caught:
        measure(parsed(data), truck(1.0))
    return str(caught.value)


def test_readings_that_cannot_be() -> None:
    assert "no block for this tyre" in fault(height="30 mm")
    assert "turn freely" in fault(pulls=["400 g"])  # a held wheel slides up
    assert "Rolling" in fault(rolling=["200 g"])


def test_a_squish_table_stays() -> None:
    (found,) = measure(parsed({"schema": 1, "truck": "x", "block_pull": [entry(1.0, 0)]}), small_truck())
    assert found.settings == ()
    assert "squish table stays" in found.remark
    assert found.found is not None
    assert math.isfinite(found.found.low)
