"""Obstacles that come from a file instead of a family: imported ground, and courses.

Their name is the path, and ``#`` with a hash of what the file holds: ``yard/rock.ground.npz#1f0c...``. Their level
is in percent: of the recorded heights of imported ground, of every element's level on a course.
"""

from __future__ import annotations

from terrain import course_build, course_file, ground_file, own_ground
from terrain.family import Family, within
from terrain.file_name import COURSE, GROUND, full_name, path_of
from terrain.gates import Gate
from terrain.heightfield import Heightfield
from terrain.obstacle import Obstacle
from terrain.yardstick import Yardstick

LOWEST, USUAL_LEVEL, HIGHEST = 1.0, 100.0, 500.0


def _no_piece(*_: object) -> None:
    raise TypeError("ground from a file is made by terrain.from_file.make")


def family(name: str) -> Family:
    """What the catalogue says about a file: a level in percent, no parameters."""
    return Family(
        name,
        "percent",
        "a course" if path_of(name).suffix.lower() == COURSE else "imported ground",
        build=_no_piece,  # type: ignore[arg-type]
        levels=lambda _: (50.0, USUAL_LEVEL, 150.0),
        limit=lambda _: (LOWEST, HIGHEST),
        roughness_share=0.0,
    )


def make(name: str, level: float, yard: Yardstick, seed: int, rms: float) -> Obstacle:
    """Build the obstacle of a file; ``rms`` is the texture to add, m. Raises TerrainError for an unusable file."""
    within(path_of(name).name, level, LOWEST, HIGHEST)
    path = path_of(full_name(name))
    if path.suffix.lower() == COURSE:
        return course_build.build(course_file.load_course(path), yard, seed=seed, percent=level).obstacle
    ground, known = ground_file.load_ground(path)
    if level != USUAL_LEVEL:
        ground = Heightfield.of(ground.z * (0.01 * level), ground.origin, ground.spacing)
    return own_ground.obstacle_on(
        ground,
        yard,
        name=known.name,
        level=level,
        unit="percent",
        seed=seed,
        lane=known.lane(),
        lane_half_width=None if known.lane_half_width_mm is None else 0.001 * known.lane_half_width_mm,
        rms=rms,
    )


def gates(name: str, level: float, yard: Yardstick, seed: int) -> tuple[Gate, ...]:
    """Gates of a course file; none for imported ground."""
    path = path_of(name)
    if path.suffix.lower() != COURSE:
        return ()
    return course_build.build(course_file.load_course(path), yard, seed=seed, percent=level).gates


def bare_ground(name: str) -> Heightfield | None:
    """Imported ground as it was saved, without the level ground that a trial puts before and behind; else None."""
    path = path_of(name)
    return ground_file.load_ground(path)[0] if path.suffix.lower() == GROUND else None
