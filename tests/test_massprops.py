"""Mass properties against closed forms, a published solid, an independent mesh integration, and by invariants."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from models import scenario
from models.errors import BuildSheetError
from models.massprops import (
    BODIES,
    GRAVITY,
    MassProperties,
    body_properties,
    combined,
    contact_places,
    part_properties,
    point_mass,
    shape_inertia,
    truck_balance,
    truck_properties,
    wheel_loads,
)
from models.sheet import load_sheet
from models.spec import Sheet

# A sum over some tens of products in double precision: 1e-12 leaves room for a few hundred roundings.
ROUNDING = 1e-12


@pytest.fixture(scope="module", params=scenario.builds(), ids=lambda path: path.stem)
def truck(request: pytest.FixtureRequest) -> Sheet:
    return load_sheet(request.param)


def test_box_against_the_benchmark_box() -> None:
    # scpeters/benchmark (Apache-2.0), boxes_description.ipynb: 10 kg, 0.1 x 0.4 x 0.9 m; printed to six digits.
    expected = [0.808333, 0.683333, 0.141667]
    assert np.diag(shape_inertia("box", 10.0, (0.1, 0.4, 0.9))) == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(("bore", "axial", "across"), [(0.0, 0.0025, 0.00365), (0.06, 0.0034, 0.0041)])
def test_solid_and_hollow_cylinder(bore: float, axial: float, across: float) -> None:
    # Integrals over the ring: m (R^2 + r^2) / 2 and m (3 (R^2 + r^2) + L^2) / 12 for 2 kg, R = 0.05, L = 0.12 m.
    inertia = shape_inertia("ring", 2.0, (0.1, 0.12, 0.1), bore)
    assert np.diag(inertia) == pytest.approx([across, axial, across], rel=ROUNDING)


def test_torus_put_together_from_thin_rings() -> None:
    # Solid torus of 10 kg, b = 1, a = 0.5: 11.875 about its axis, 6.5625 across, m (4 b^2 + 3 a^2) / 4 and
    # m (5 a^2 + 4 b^2) / 8 (closed form from memory). Here it is a stack of thin washers, so
    # the sum over parts and the parallel-axis theorem have to be right. The error of n slices falls as n^-1.5 at the
    # rounded ends; 2000 of them leave less than 1e-5.
    slices, a, b = 2000, 0.5, 1.0
    middle = (np.arange(slices) + 0.5) / slices * 2 * a - a
    half = np.sqrt(a**2 - middle**2)
    mass = 10.0 * half / half.sum()
    washers = [
        MassProperties(
            m, np.array([0, y, 0]), shape_inertia("ring", m, [2 * (b + h), 2 * a / slices, 2 * (b + h)], 2 * (b - h))
        )
        for m, y, h in zip(mass, middle, half, strict=True)
    ]
    torus = combined(washers)
    assert torus.mass == pytest.approx(10.0, rel=ROUNDING)
    assert np.diag(torus.inertia) == pytest.approx([6.5625, 11.875, 6.5625], rel=1e-5)


def test_parallel_axis_and_common_centre() -> None:
    # 2 kg with 0.01 kg m^2, 0.3 m off: 0.190. Masses 1.2, 0.5, 0.3 kg at 0.10, 0.05, 0.20 m: centre at 0.1025 m.
    own = MassProperties(2.0, np.array([0.3, 0, 0]), np.diag([0.01] * 3))
    about_origin = own.inertia[2, 2] + own.mass * own.cg[0] ** 2
    assert about_origin == pytest.approx(0.190, rel=ROUNDING)
    three = combined(point_mass(m, (0, 0, z)) for m, z in ((1.2, 0.10), (0.5, 0.05), (0.3, 0.20)))
    assert three.cg[2] == pytest.approx(0.1025, rel=ROUNDING)


@pytest.mark.parametrize("shape", ["box", "cylinder", "ring"])
def test_solids_against_mesh_integration(shape: str) -> None:
    # trimesh integrates over the enclosed volume (Eberly, Polyhedral Mass Properties). A prism of n sides has less
    # inertia than its circle by about (pi/n)^2 relative to its area's: 512 sides leave 4e-5.
    size = np.array([0.054, 0.020, 0.054]) if shape != "box" else np.array([0.054, 0.020, 0.031])
    if shape == "box":
        mesh = trimesh.creation.box(size)
    else:
        bore = 0.027 if shape == "ring" else 0.0
        mesh = (
            trimesh.creation.annulus(bore / 2, size[0] / 2, size[1], sections=512)
            if bore
            else (trimesh.creation.cylinder(size[0] / 2, size[1], sections=512))
        )
        mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    mesh.density = 0.009 / mesh.volume
    ours = shape_inertia(shape, 0.009, size, 0.027 if shape == "ring" else 0.0)
    assert np.diag(ours) == pytest.approx(np.diag(mesh.moment_inertia), rel=1e-4)
    assert np.abs(mesh.moment_inertia - np.diag(np.diag(mesh.moment_inertia))).max() < 1e-12


def test_shell_is_the_thin_limit_of_a_hollow_box() -> None:
    # Box minus the box inside it, wall t; the shell is the limit t -> 0, and the difference is of first order in t.
    size, wall, mass = np.array([0.176, 0.080, 0.046]), 1e-6, 0.068
    inner = size - 2 * wall
    outside, inside = float(np.prod(size)), float(np.prod(inner))
    density = mass / (outside - inside)
    hollow = shape_inertia("box", density * outside, size) - shape_inertia("box", density * inside, inner)
    shell = shape_inertia("shell", mass, size)
    assert np.diag(shell) == pytest.approx(np.diag(hollow), rel=10 * wall / size.min())
    cube = shape_inertia("shell", 1.0, (1.0, 1.0, 1.0))
    assert np.diag(cube) == pytest.approx([5 / 18] * 3, rel=ROUNDING)  # six plates: 4 (1/12 + 1/4) / 6 + 2 (1/6) / 6


def test_whole_is_the_sum_of_its_parts(truck: Sheet) -> None:
    bodies = body_properties(truck)
    assert tuple(bodies) == BODIES
    grams = sum((part.mass_g or 0) + 2 * (part.mass_each_g or 0) for part in truck.parts)
    grams += sum(link.mass_g for axle in (truck.axles.front, truck.axles.rear) for link in axle.links)
    grams += 2 * (truck.axles.front.shock.mass_g + truck.axles.rear.shock.mass_g)
    whole = truck_properties(truck)
    assert whole.mass == pytest.approx(grams / 1000, rel=ROUNDING)
    # First and second moments about the datum, straight from the bodies' point of view.
    first = sum(body.mass * body.cg for body in bodies.values())
    second = sum(_about_datum(body) for body in bodies.values())
    assert whole.mass * whole.cg == pytest.approx(first, abs=1e-15)
    assert _about_datum(whole) == pytest.approx(second, rel=1e-11, abs=1e-15)


def _about_datum(body: MassProperties) -> np.ndarray:
    return body.inertia + body.mass * (body.cg @ body.cg * np.eye(3) - np.outer(body.cg, body.cg))


def test_balance_is_the_truck_s_mass_and_centre(truck: Sheet) -> None:
    whole, balance = truck_properties(truck), truck_balance(truck)
    assert balance.mass == pytest.approx(whole.mass, rel=1e-12)
    assert balance.cg == pytest.approx(whole.cg, rel=1e-12, abs=1e-15)


def test_pairs_are_mirror_images(truck: Sheet) -> None:
    bodies = body_properties(truck)
    flip = np.array([1, -1, 1])
    for left, right in (("front_left_wheel", "front_right_wheel"), ("front_left_knuckle", "front_right_knuckle")):
        assert bodies[left].mass == bodies[right].mass
        np.testing.assert_array_equal(bodies[left].cg * flip, bodies[right].cg)
        np.testing.assert_array_equal(bodies[left].inertia * np.outer(flip, flip), bodies[right].inertia)


def test_every_inertia_can_belong_to_a_rigid_body(truck: Sheet) -> None:
    for body in body_properties(truck).values():
        moments = np.linalg.eigvalsh(body.inertia)
        assert moments[0] > 0
        assert moments[0] + moments[1] >= moments[2] * (1 - 1e-12)
        np.testing.assert_array_equal(body.inertia, body.inertia.T)


def test_mirrored_truck_has_mirrored_loads(truck: Sheet) -> None:
    parts = [
        part
        if part.mass_each_g is not None
        else part.model_copy(update={"at_mm": (part.at_mm[0], -part.at_mm[1], part.at_mm[2])})
        for part in truck.parts
    ]
    other = truck.model_copy(update={"parts": tuple(parts)})
    assert wheel_loads(other).load == pytest.approx(wheel_loads(truck).load[[1, 0, 3, 2]], rel=1e-9)


def test_wheel_loads_balance_the_truck(truck: Sheet) -> None:
    whole, places = truck_properties(truck), contact_places(truck)
    load = wheel_loads(truck).load
    assert load.sum() == pytest.approx(whole.mass * GRAVITY, rel=ROUNDING)
    assert load @ places / load.sum() == pytest.approx(whole.cg[:2], abs=1e-12)
    assert wheel_loads(truck).cross_percent == pytest.approx(50.0, abs=1e-9)  # equal tracks, no twist


@given(x=st.floats(0.02, 0.11), y=st.floats(-0.015, 0.015), front=st.floats(0.06, 0.10), rear=st.floats(0.06, 0.10))
def test_wheel_loads_are_four_alike_springs(x: float, y: float, front: float, rear: float) -> None:
    # A rigid truck pressed on four springs of one rate k: deflections from the 3 x 3 stiffness matrix, independent
    # of k. The rule promises exactly these loads.
    truck = MassProperties(0.35, np.array([x, y, 0.05]), np.eye(3))
    sheet = _gundi_with_tracks(front, rear)
    places = contact_places(sheet)
    k = 440.0
    shape = np.column_stack([np.ones(4), places])
    stiffness = shape.T @ (k * shape)
    deflection = shape @ np.linalg.solve(stiffness, truck.weight * np.array([1, x, y]))
    expected = k * deflection
    if expected.min() <= 0:
        with pytest.raises(BuildSheetError):
            wheel_loads(sheet, truck)
    else:
        assert wheel_loads(sheet, truck).load == pytest.approx(expected, rel=1e-9)


def _gundi_with_tracks(front: float, rear: float) -> Sheet:
    sheet = load_sheet(scenario.builds()[0])
    axles = sheet.axles
    return sheet.model_copy(
        update={
            "axles": axles.model_copy(
                update={
                    "front": axles.front.model_copy(update={"track_mm": 1000 * front}),
                    "rear": axles.rear.model_copy(update={"track_mm": 1000 * rear}),
                }
            )
        }
    )


def test_links_and_shocks_share_their_mass_half_and_half(truck: Sheet) -> None:
    heavy = truck.axles.rear.links[0].model_copy(update={"mass_g": truck.axles.rear.links[0].mass_g + 8.0})
    rear = truck.axles.rear.model_copy(update={"links": (heavy, *truck.axles.rear.links[1:])})
    changed = truck.model_copy(update={"axles": truck.axles.model_copy(update={"rear": rear})})
    before, after = body_properties(truck), body_properties(changed)
    assert after["chassis"].mass - before["chassis"].mass == pytest.approx(0.004, rel=1e-9)
    assert after["rear_axle"].mass - before["rear_axle"].mass == pytest.approx(0.004, rel=1e-9)


def test_a_part_is_where_the_sheet_puts_it(truck: Sheet) -> None:
    battery = next(part for part in truck.parts if part.name == "battery")
    found = part_properties(battery)
    assert found.mass == pytest.approx((battery.mass_g or 0) / 1000, rel=ROUNDING)
    assert found.cg == pytest.approx(np.array(battery.at_mm) / 1000, rel=ROUNDING)


def test_parts_without_size_are_no_body(truck: Sheet) -> None:
    points = [
        part.model_copy(update={"size_mm": (0.0, 0.0, 0.0), "bore_mm": 0.0}) if part.body == "rear_wheels" else part
        for part in truck.parts
    ]
    with pytest.raises(BuildSheetError, match="impossible inertia: the parts on rear_wheels have no size"):
        body_properties(truck.model_copy(update={"parts": tuple(points)}))


def test_a_body_without_parts_is_refused(truck: Sheet) -> None:
    rest = tuple(part for part in truck.parts if part.body != "front_knuckles")
    with pytest.raises(BuildSheetError, match="no part with mass rides on front_knuckles"):
        body_properties(truck.model_copy(update={"parts": rest}))
