"""Ground that is driven: courses judged and scored, an imported scan, every family."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import trimesh

from models.rigid import RigidModel
from sim.batch.study import fixed_tasks, prepare, yard_of
from sim.compare import sentences
from sim.errors import PlanError
from sim.trial import course_run, ground_cache, trial
from sim.trial.driver import named
from sim.trial.result import Trace, TrialResult
from sim.trial.truck import load_truck
from terrain import catalog, course_build, from_file, pool
from terrain.course_file import CourseFile, load_course
from terrain.families.registry import FAMILIES
from terrain.ground_file import Description, save_ground
from terrain.heightfield import Heightfield
from terrain.importing import import_ground
from terrain.intake import Intake
from terrain.yardstick import Yardstick

BUILD = Path(__file__).parents[1] / "models" / "scenario_data" / "gundi.toml"


@lru_cache(maxsize=1)
def demo_truck() -> RigidModel:
    return load_truck(BUILD).model


def yardstick() -> Yardstick:
    yard = yard_of(demo_truck())
    return Yardstick(1e-3 * yard.wheelbase_mm, 1e-3 * yard.tyre_radius_mm, yard.scale)


def drive(text: str, seed: int = 1) -> TrialResult:
    yard = yardstick()
    obstacle = catalog.from_text(
        text, wheelbase=yard.wheelbase, tyre_radius=yard.tyre_radius, seed=seed, scale=yard.scale
    )
    return trial.run(demo_truck(), obstacle, named("steady"), seed)


def driven(x: np.ndarray, y: float, outcome: str) -> TrialResult:
    """A made-up result: four wheels 0.134 x 0.08 m apart, rear axle at x, no physics."""
    n = len(x)
    offsets = np.array([(0.134, 0.04), (0.134, -0.04), (0.0, 0.04), (0.0, -0.04)])
    contact = np.zeros((n, 4, 3))
    contact[..., 0] = x[:, None] + offsets[:, 0]
    contact[..., 1] = y + offsets[:, 1]
    extra = np.zeros((n, 4))
    extra[:, 0] = x + 0.067
    trace = Trace(
        0.02, 0.02 * np.arange(n), np.zeros((n, 7)), np.zeros((n, 10)), np.zeros((n, 4, 3)), contact, np.zeros(n), extra
    )
    return TrialResult(outcome, "", 0.02 * n, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0, 0.0, trace=trace)  # type: ignore[arg-type]


def two_gates() -> course_build.Course:
    file = CourseFile.model_validate(
        {
            "schema": 1,
            "name": "t",
            "leg": [{"free_mm": 400}, {"gate": "1"}, {"free_mm": 400}, {"gate": "2", "width_mm": 150}, {"free_mm": 9}],
        }
    )
    return course_build.build(file, Yardstick(0.134, 0.027), seed=1)


def test_a_run_through_both_gates_with_one_turn_back() -> None:
    x = np.concatenate([np.linspace(0, 0.5, 100), np.linspace(0.5, 0.45, 20), np.linspace(0.45, 1.4, 200)])
    result = driven(x, 0.0, "cleared")
    gates = course_run.judge(two_gates(), result, demo_truck())
    counted = course_run.tally(gates, result, 0.134)
    assert (counted.gates_passed, counted.gates_skipped, counted.reverses) == (2, 0, 1)
    assert counted.markers_touched == 0


def test_a_run_that_grazes_a_marker_and_rolls_before_the_second_gate() -> None:
    # Gate 1 is 201 mm wide: its left marker stands at y = 0.1005, the left wheels run at 0.094.
    result = driven(np.linspace(0, 0.7, 200), 0.054, "rolled")
    gates = course_run.judge(two_gates(), result, demo_truck())
    counted = course_run.tally(gates, result, 0.134)
    assert (counted.gates_passed, counted.gates_not_reached, counted.rollovers) == (1, 1, 1)
    assert counted.markers_touched == 1


def flat_scan(path: Path, height: float) -> None:
    z = np.zeros((300, 160))
    z[150:] = height
    save_ground(path, Heightfield.of(z, (0.0, -0.16), 0.002), Description(schema=1, name="flat"))


def plan_beside(folder: Path, family: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(
        f'schema = 1\nname = "scan"\nrepeats = 1\n[[configuration]]\nname = "a"\nbuild = "{BUILD}"\n'
        f'[[obstacle]]\nfamily = "{family}"\nlevels = [100]\n'
    )
    return path


def test_a_plan_finds_its_scan_beside_it_and_knows_when_it_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From whatever folder it is started, a scan is one obstacle; another content is another obstacle."""
    plan = plan_beside(tmp_path, "rock.ground.npz")
    flat_scan(tmp_path / "rock.ground.npz", 0.01)
    first = [task.obstacle for task in fixed_tasks(prepare(plan))]
    monkeypatch.chdir(tmp_path)
    assert [task.obstacle for task in fixed_tasks(prepare("plan.toml"))] == first
    flat_scan(tmp_path / "rock.ground.npz", 0.02)
    assert [task.obstacle for task in fixed_tasks(prepare(plan))] != first
    assert sentences.kind(first[0]) == "rock"


def test_the_luck_of_a_scan_does_not_hang_on_its_folder(tmp_path: Path) -> None:
    draws = []
    for folder in (tmp_path / "a", tmp_path / "b"):
        folder.mkdir()
        flat_scan(folder / "rock.ground.npz", 0.01)
        draws.append([task.draw for task in fixed_tasks(prepare(plan_beside(folder, "rock.ground.npz")))])
    assert draws[0] == draws[1]


def test_a_folder_that_an_obstacle_cannot_be_written_with(tmp_path: Path) -> None:
    folder = tmp_path / "yard, left"
    folder.mkdir()
    flat_scan(folder / "rock.ground.npz", 0.01)
    with pytest.raises(PlanError, match="comma"):
        prepare(plan_beside(folder, "rock.ground.npz"))


def test_every_repeat_drives_one_scan_but_its_own_rocks(tmp_path: Path) -> None:
    flat_scan(tmp_path / "rock.ground.npz", 0.01)
    where, level = ground_cache.split(str(tmp_path / "rock.ground.npz"))
    yard = yard_of(demo_truck()).text()
    assert ground_cache.ground(where, level, yard, None, 1) is ground_cache.ground(where, level, yard, None, 2)
    rough = [ground_cache.ground(where, level, yard, 0.3, seed).ground.z for seed in (1, 2)]
    given = [ground_cache.ground(f"{where},roughness_mm=0.3", level, yard, None, seed).ground.z for seed in (1, 2)]
    assert not np.array_equal(*rough)
    assert np.array_equal(rough, given)
    assert ground_cache.ground("ledge", 20.0, yard, None, 1) is not ground_cache.ground("ledge", 20.0, yard, None, 2)


def test_grounds_kept_at_hand_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground_cache, "KEPT_MB", 2)
    yard = yard_of(demo_truck()).text()
    for level in (20.0, 21.0, 22.0, 23.0, 24.0, 25.0):
        ground_cache.ground("ledge", level, yard, None, 1)
    assert ground_cache._kept._bytes() <= 2 * 2**20


@pytest.mark.slow
@pytest.mark.parametrize("text", ["ledge:20", "boulders:20"])
def test_shared_ground_gives_the_same_bits(text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pool, "MEMORY_FOLDER", tmp_path)
    owned = pool.open_pool(64)
    assert owned is not None
    where, level = ground_cache.split(text)
    yard = yard_of(demo_truck()).text()
    own = ground_cache._made(where, level, yard, None, 5)
    found = [trial.run(demo_truck(), own, named("steady"), 5, trace=True)]
    for _ in range(2):  # first by whoever makes it, then by whoever finds it
        shared = owned.pool.obstacle("0a" * 16, lambda: ground_cache._made(where, level, yard, None, 5))
        assert shared is not own
        found.append(trial.run(demo_truck(), shared, named("steady"), 5, trace=True))
    owned.close()
    assert found[0].trace is not None
    for other in found[1:]:
        assert other.trace is not None
        assert other.time == found[0].time
        assert np.array_equal(other.trace.base, found[0].trace.base)


@pytest.mark.slow
def test_the_shipped_course_is_driven_and_scored() -> None:
    path = Path(from_file.__file__).parent / "course_data" / "quarry-garden.toml"
    course = course_build.build(load_course(path), yardstick(), seed=1)
    first = course_run.run(demo_truck(), course, named("steady"), 1)
    again = course_run.run(demo_truck(), course, named("steady"), 1)
    assert first.score == again.score
    passed = [gate.passed_at for gate in first.gates if gate.passed_at is not None]
    assert passed == sorted(passed)
    if first.result.outcome == "cleared":
        assert first.tally.gates_passed + first.tally.gates_skipped == 5


@pytest.mark.slow
def test_an_imported_scan_is_driven(tmp_path: Path) -> None:
    """A rock like a phone scan: a bumpy sheet of 80,000 triangles with a stone on it."""
    x, y = np.meshgrid(np.linspace(0, 600, 250), np.linspace(0, 400, 160), indexing="ij")
    z = 18 * np.exp(-((x - 300) ** 2 + (y - 200) ** 2) / 9000) + np.random.default_rng(2).normal(0, 0.15, x.shape)
    node = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    vertices = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    trimesh.Trimesh(vertices, faces, process=False).export(tmp_path / "scan.ply")
    ground, report = import_ground(tmp_path / "scan.ply", Intake(), yardstick().cell)
    save_ground(tmp_path / "scan.ground.npz", ground, Description(schema=1, name="scan", report=report.as_dict()))
    result = drive(str(tmp_path / "scan.ground.npz"))
    assert result.outcome == "cleared"
    assert result.distance > 0.6


@pytest.mark.slow
def test_a_real_elevation_model_is_driven(tmp_path: Path) -> None:
    source = Path(matplotlib.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz"
    ground, _ = import_ground(source, Intake(unit="m", shrink=8000.0, pixel_mm=4.0), yardstick().cell)
    save_ground(tmp_path / "fault.ground.npz", ground, Description(schema=1, name="fault"))
    result = drive(str(tmp_path / "fault.ground.npz"))
    assert result.outcome != "invalid"
    assert result.distance > 0.5


@pytest.mark.slow
@pytest.mark.parametrize("name", FAMILIES)
def test_every_family_can_be_driven_without_solver_trouble(name: str) -> None:
    yard = yardstick()
    easy, _, hard = FAMILIES[name].levels(yard)
    found = {level: drive(f"{name}:{level}") for level in (easy, hard)}
    assert all(result.outcome != "invalid" for result in found.values())
    # Everybody gets off the start: the run-in is no part of the difficulty.
    assert all(result.distance > 0.15 for result in found.values())
