"""A recorded trial looked at again: poses, shapes, cameras, pixels, films."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import made_store
import numpy as np
import pytest

from models.rigid import WHEEL_BODIES
from sim.batch.study import make_task
from sim.chart.film import FRAMES_PER_SECOND, HOLD, film
from sim.compare.comparison import compare
from sim.errors import SimError
from sim.replay import clip as clips_of
from sim.replay import scene
from sim.replay.camera import VIEWS, camera
from sim.replay.clip import Clip
from sim.replay.film_file import write_film
from sim.replay.ground_mesh import ground_mesh
from sim.replay.page_data import packed, page_data, unpacked
from sim.replay.picks import clips, picks
from sim.replay.pose import poses, quaternions
from sim.replay.raster import SOLID, VEIL, fill
from sim.replay.sight import free, sights
from sim.replay.wanted import Wanted, find
from sim.store.store import Store, Trial, pack, unpack
from sim.trial import ground_cache
from sim.trial.luck import Variation
from sim.trial.perform import perform
from sim.trial.task import Versions, record
from terrain.families.registry import FAMILIES
from terrain.heightfield import sample
from terrain.yardstick import Yardstick


@pytest.fixture(scope="module")
def store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made_store.make(tmp_path_factory.mktemp("replay") / "s.sqlite")


@pytest.fixture(scope="module")
def shown(store_file: Path) -> list[Clip]:
    with Store(store_file) as store:
        comparison = compare(store, "as it is")
        chosen = picks(store, comparison, ["as it is", "battery forward"])
        return [clip for _, clip in clips(store, chosen)]


def test_bodies_at_rest_stand_where_the_model_puts_them() -> None:
    truck = made_store.truck()
    still = made_store.trace(truck, 0.1)
    found = poses(truck.model, dataclasses.replace(still, joints=0.0 * still.joints))
    # Sums of at most five numbers near 0.2 m: a few parts in 1e16.
    np.testing.assert_allclose(found.origin[0], truck.model.origins(), atol=1e-15)
    np.testing.assert_allclose(found.cg[0], truck.model.cg(), atol=1e-15)


def test_whole_truck_turned_turns_every_body() -> None:
    truck = made_store.truck()
    still = made_store.trace(truck, 0.1)
    base = still.base.copy()
    base[:, :7] = [1.0, 2.0, 3.0, 0.0, 0.0, np.sqrt(0.5), np.sqrt(0.5)]  # 90 degrees to the left
    found = poses(truck.model, dataclasses.replace(still, base=base, joints=0.0 * still.joints))
    at_rest = truck.model.origins()
    turned = np.stack([1.0 - at_rest[:, 1], 2.0 + at_rest[:, 0], 3.0 + at_rest[:, 2]], axis=1)
    np.testing.assert_allclose(found.origin[0], turned, atol=1e-12)


def test_wheels_turn_about_their_axle_and_stay_on_it() -> None:
    truck = made_store.truck()
    rolling = made_store.trace(truck, 1.0)
    found = poses(truck.model, rolling)
    for body in WHEEL_BODIES:
        parent = truck.model.bodies[body].parent
        arm = np.linalg.norm(found.origin[:, body] - found.origin[:, parent], axis=1)
        np.testing.assert_allclose(arm, np.linalg.norm(truck.model.bodies[body].p_PJ), atol=1e-12)
        # Forward rolling is a positive turn about the axis to the left: the top goes forward.
        top = found.rotation[1, body] @ [0.0, 0.0, 1.0]
        assert top[0] > 0.0


def test_trace_survives_the_store_well_enough_to_draw() -> None:
    truck = made_store.truck()
    original = made_store.trace(truck, 1.0, rolls=True)
    found, stored = poses(truck.model, original), poses(truck.model, unpack(pack(original)))
    # Single precision of places within a metre: 1e-7 m; a picture's pixel is a tenth of a millimetre.
    np.testing.assert_allclose(stored.origin, found.origin, atol=1e-6)


def test_a_quaternion_that_is_none_stands_upright() -> None:
    truck = made_store.truck()
    broken = made_store.trace(truck, 0.1)
    broken.base[2, 3:] = np.nan
    assert np.isfinite(poses(truck.model, broken).rotation).all()


def test_quaternions_do_not_jump() -> None:
    truck = made_store.truck()
    q = quaternions(poses(truck.model, made_store.trace(truck, 3.0)).rotation)
    assert (np.sum(q[1:] * q[:-1], axis=-1) > 0.0).all()
    np.testing.assert_allclose(np.linalg.norm(q, axis=-1), 1.0, atol=1e-12)


def test_packed_numbers_come_back_to_half_a_step() -> None:
    values = np.random.default_rng(1).normal(size=(40, 5)) * [1.0, 1e-3, 1e3, 0.0, 1.0]
    back = unpacked(packed(values))
    step = np.ptp(values, axis=0) / 65535.0
    # The ends are kept to seven digits.
    assert (np.abs(back - values) <= 0.51 * step + 1e-6 * np.abs(values).max(axis=0)).all()


def test_ground_for_pictures_keeps_the_step() -> None:
    yard = made_store.yard_of(made_store.truck().model).text()
    obstacle = ground_cache.ground("ledge,roughness_mm=0", 30.0, yard, None, 1)
    mesh = ground_mesh(obstacle, 0.2)
    rise = np.diff(mesh.z, axis=0)
    k, j = np.unravel_index(np.argmax(rise), rise.shape)
    assert rise[k, j] == pytest.approx(0.030, abs=1e-9)
    assert mesh.x[k + 1] - mesh.x[k] == pytest.approx(obstacle.ground.spacing, rel=1e-9)


def test_ground_is_drawn_as_far_as_a_truck_went() -> None:
    yard = made_store.yard_of(made_store.truck().model).text()
    obstacle = ground_cache.ground("descent,roughness_mm=0", 40.0, yard, None, 1)
    x_max, y_max = obstacle.ground.extent[1], obstacle.ground.extent[3]
    went = np.array([[0.0, 0.0], [x_max + 0.7, y_max + 0.1]])
    mesh = ground_mesh(obstacle, 0.2, went)
    assert mesh.x[-1] == pytest.approx(x_max + 0.8)
    assert mesh.y[-1] == pytest.approx(y_max + 0.2)
    # What the simulation has there: the height of the ground's edge.
    edge = sample(obstacle.ground, x_max, mesh.y)
    np.testing.assert_allclose(mesh.z[mesh.x > x_max], np.tile(edge, (int(np.sum(mesh.x > x_max)), 1)), atol=1e-12)


def test_a_truck_that_rolled_stays_over(shown: list[Clip]) -> None:
    margin = np.radians([20.0, -10.0, -29.0, -150.0, 15.0, 12.0])
    trace = dataclasses.replace(shown[0].trace, margin=margin)
    rolled = dataclasses.replace(shown[0], trace=trace, outcome="rolled")
    np.testing.assert_allclose(rolled.shown_margin, [20.0, -10.0, -29.0, -30.0, -30.0, -30.0])
    caught = dataclasses.replace(rolled, outcome="cleared")
    np.testing.assert_allclose(caught.shown_margin, [20.0, -10.0, -29.0, -30.0, 15.0, 12.0])


def test_places_along_a_bent_lane() -> None:
    lane = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    points = np.array([[0.4, 0.1], [1.2, 0.5], [0.7, 0.6], [-0.5, -0.2], [1.1, 1.5]])
    along, aside = scene.lane_places(lane, points)
    np.testing.assert_allclose(along, [0.4, 1.5, 1.6, -0.5, 2.5], atol=1e-12)
    np.testing.assert_allclose(aside, [0.1, -0.2, 0.3, -0.2, -0.1], atol=1e-12)


def test_finish_line_lies_across_the_lane(shown: list[Clip]) -> None:
    obstacle = shown[0].obstacle
    line = scene.finish_line(obstacle, 0.004)
    along, aside = scene.lane_places(obstacle.lane, line[:, :2])
    np.testing.assert_allclose(np.abs(along - obstacle.finish_s), 0.004, atol=1e-9)
    assert np.abs(aside).max() == pytest.approx(obstacle.lane_half_width)


def _canvas() -> tuple[np.ndarray, np.ndarray]:
    return np.zeros((60, 80, 3), dtype=np.uint8), np.zeros((60, 80), dtype=np.float32)


def test_a_triangle_fills_its_area() -> None:
    image, near = _canvas()
    corners = np.array([[10.2, 10.3, 1.0], [10.2, 50.3, 1.0], [60.2, 50.3, 1.0]])
    fill(corners, np.array([[0, 1, 2]]), np.full((1, 3), 255, dtype=np.uint8), image, near, SOLID)
    # Half of 50 x 40 pixels; a pixel is in when its middle is, so the error is of the order of the rim's length.
    assert (image[..., 0] > 0).sum() == pytest.approx(1000, abs=30)


def test_a_back_side_is_not_drawn() -> None:
    image, near = _canvas()
    corners = np.array([[10.0, 10.0, 1.0], [10.0, 50.0, 1.0], [60.0, 50.0, 1.0]])
    fill(corners, np.array([[2, 1, 0]]), np.full((1, 3), 255, dtype=np.uint8), image, near, SOLID)
    assert image.max() == 0


def test_what_is_nearer_hides_what_is_behind_in_any_order() -> None:
    flat = np.array([[5.0, 5.0], [5.0, 55.0], [75.0, 55.0]])
    corners = np.concatenate([np.column_stack([flat, np.full(3, depth)]) for depth in (1.0, 2.0)])
    near_first, far_first = np.array([[0, 1, 2], [3, 4, 5]]), np.array([[3, 4, 5], [0, 1, 2]])
    pictures = []
    for faces in (near_first, far_first):
        image, near = _canvas()
        tones = np.array([[200, 0, 0] if f[0] == 0 else [0, 200, 0] for f in faces], dtype=np.uint8)
        fill(corners, faces, tones, image, near, SOLID)
        pictures.append(image)
    assert (pictures[0] == pictures[1]).all()
    assert pictures[0][..., 1].max() == 0


def test_a_veil_covers_half() -> None:
    whole, veiled = _canvas(), _canvas()
    corners = np.array([[5.0, 5.0, 1.0], [5.0, 55.0, 1.0], [75.0, 55.0, 1.0]])
    for (image, near), veil in ((whole, SOLID), (veiled, VEIL)):
        fill(corners, np.array([[0, 1, 2]]), np.full((1, 3), 255, dtype=np.uint8), image, near, veil)
    assert veiled[0].astype(bool).sum() == pytest.approx(whole[0].astype(bool).sum() / 2, rel=0.02)


@pytest.mark.parametrize("name", list(VIEWS))
def test_a_camera_looks_at_its_target(name: str) -> None:
    target = np.array([0.3, -0.1, 0.05])
    eye = camera(VIEWS[name], target, 0.4, 0.16, (800, 450))
    (x, y, depth), = eye.project(target[None])
    assert (x, y) == pytest.approx((400.0, 0.54 * 450))
    assert depth == pytest.approx(VIEWS[name].distance * 0.16)


def test_forward_is_to_the_right_from_the_side_and_up_is_up() -> None:
    eye = camera(VIEWS["side"], np.zeros(3), 0.0, 0.16, (800, 450))
    (here, ahead, above) = eye.project(np.array([[0.0, 0.0, 0.0], [0.05, 0.0, 0.0], [0.0, 0.0, 0.05]]))
    assert ahead[0] > here[0] + 10
    assert above[1] < here[1] - 10


def test_page_data_hold_each_truck_and_ground_once(shown: list[Clip]) -> None:
    data = page_data(shown, {"rock": "#b9ad9b"})
    assert len(data["clips"]) == len(shown) == 6
    assert len(data["actors"]) == 2
    assert len(data["grounds"]) == 3
    clip = data["clips"][0]
    frames = unpacked(clip["frames"])
    np.testing.assert_allclose(frames[:, 63:66], shown[0].poses.cg[::2], atol=1e-4)


def test_pair_on_one_place_met_the_same_ground(shown: list[Clip]) -> None:
    assert shown[0].obstacle is shown[1].obstacle
    assert shown[0].repeat == shown[1].repeat


def test_film_has_a_frame_every_40_ms_and_shows_the_margin(shown: list[Clip]) -> None:
    made = film(shown[:2], [0, 1], "wide", last=0.2)
    frames = list(made.frames())
    assert len(frames) == len(made.times())
    assert frames[0].shape == (720, 1280, 3)
    assert np.diff(made.times()[:5]) == pytest.approx(np.full(4, 0.04))
    assert len(np.unique(frames[-1].reshape(-1, 3), axis=0)) > 500
    # The last moment stands for so long and is painted once.
    assert [frame is frames[-1] for frame in frames[-round(HOLD * FRAMES_PER_SECOND) - 1 :]] == [
        False, *[True] * round(HOLD * FRAMES_PER_SECOND)]


# The library's reader leaves its pipes to the garbage collector; only this test reads films.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_film_files_play_and_leave_no_parts(tmp_path: Path) -> None:
    frames = [np.full((90, 160, 3), tone, dtype=np.uint8) for tone in (0, 60, 120, 180, 240, 250)]
    seen: list[int] = []
    files = [tmp_path / "a.mp4", tmp_path / "a.gif"]
    write_film(iter(frames), 6, files, 25, lambda done, _: seen.append(done))
    assert seen == [1, 2, 3, 4, 5, 6]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.gif", "a.mp4"]
    import imageio.v3 as iio

    played = np.stack(list(iio.imiter(files[0], plugin="FFMPEG")))
    assert played.shape == (6, 90, 160, 3)
    # Lossy, but each frame is a flat tone.
    assert np.abs(played.mean(axis=(1, 2, 3)) - [0, 60, 120, 180, 240, 250]).max() < 6
    assert iio.improps(files[1]).n_images == 3


def test_film_broken_off_leaves_nothing(tmp_path: Path) -> None:
    def frames():  # type: ignore[no-untyped-def]
        yield np.zeros((90, 160, 3), dtype=np.uint8)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_film(frames(), 2, [tmp_path / "a.gif"], 25)
    assert list(tmp_path.iterdir()) == []


def test_film_formats_and_shapes_are_told(tmp_path: Path, shown: list[Clip]) -> None:
    with pytest.raises(SimError, match=r"mp4, gif"):
        write_film([], 0, [tmp_path / "a.webm"], 25)
    with pytest.raises(SimError, match="wide, square"):
        film(shown[:1], [0], "round")
    with pytest.raises(SimError, match="different obstacles"):
        film([shown[0], shown[2]], [0, 0])


def test_find_what_was_asked_for(store_file: Path) -> None:
    with Store(store_file) as store:
        comparison = compare(store, "as it is")
        one, other = find(store, comparison, Wanted("battery forward", "as it is", "climb:45"))
        assert (one.trial.task.obstacle, one.trial.task.level) == ("climb", 45.0)
        assert one.trial.task.draw == other.trial.task.draw
        # Left to choose, it shows a pair of which one truck cleared alone.
        one, other = find(store, comparison, Wanted("battery forward", "as it is"))
        assert (one.trial.record.cleared, other.trial.record.cleared) == (True, False)
        assert one.trial.task.draw == other.trial.task.draw
        with pytest.raises(SimError, match="as it is, battery forward"):
            find(store, comparison, Wanted("nobody"))
        with pytest.raises(SimError, match="Recorded are"):
            find(store, comparison, Wanted(obstacle="climb:46"))


@pytest.mark.slow
def test_recorded_contacts_lie_on_the_tyres() -> None:
    """The recorder's contact points and the poses come by different ways and must meet at the tyre."""
    from sim.batch.study import make_task, yard_of
    from sim.trial import perform
    from sim.trial.luck import Variation
    from sim.trial.task import Versions, record
    from sim.trial.truck import load_truck

    truck = load_truck(made_store.scenario.builds()[1])
    task = make_task(truck.hash, "climb", 45.0, 0, yard=yard_of(truck.model), driver_name="steady", seed=1,
                     variation=Variation(), keep_trace=True)
    result = perform.perform({truck.hash: truck.model}, task)
    assert result.trace is not None
    trial = made_trial(task, record(result), Versions("a", "b"))
    made = clips_of.clip(clips_of.actor(truck.name, truck.configuration.sheet), trial, result.trace)
    distance = np.linalg.norm(made.trace.wheel_contact - made.poses.origin[:, list(WHEEL_BODIES)], axis=2)
    radius, half = np.max(truck.model.tyres[0].row_radius), np.max(np.abs(truck.model.tyres[0].row_y))
    assert distance.max() <= np.hypot(radius, half) + 1e-4
    assert distance.min() > truck.model.tyres[0].rim_radius * 0.8


def made_trial(task, record, versions):  # type: ignore[no-untyped-def]
    from sim.store.store import Trial

    return Trial("key", task, versions, record)


@pytest.mark.slow
@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_cameras_stand_above_the_ground_and_see_the_truck_on_every_family(family: str) -> None:
    """A driven trial on the hardest usual level: at every moment each eye sees centre of gravity and wheels."""
    truck = made_store.truck()
    yard = made_store.yard_of(truck.model)
    level = FAMILIES[family].levels(Yardstick(yard.wheelbase_mm / 1e3, yard.tyre_radius_mm / 1e3, yard.scale))[-1]
    task = make_task(truck.hash, family, level, 0, yard=yard, driver_name="steady", seed=3, variation=Variation(),
                     keep_trace=True)
    result = perform({truck.hash: truck.model}, task)
    assert result.trace is not None
    trial = Trial("key", task, Versions("a", "b"), record(result))
    found = clips_of.clip(clips_of.actor("truck", truck.configuration.sheet), trial, result.trace)
    length, path = found.actor.shape.length, clips_of.camera_path(found)
    # Moments between those that the eye was placed by.
    at = np.arange(3, len(result.trace.time), 7)
    seen = np.concatenate([found.poses.cg[at][:, None], found.poses.origin[at][:, list(WHEEL_BODIES)]], axis=1)
    onto = []
    for name, sight in sights(found).items():
        for k, moment in enumerate(at):
            eye = camera(sight.view(int(moment)), path[moment], found.obstacle.start.heading, length, (640, 360))
            height = float(sample(found.obstacle.ground, eye.eye[0], eye.eye[1]))
            assert eye.eye[2] > height, (name, moment)
            rays = [bool(free(found.obstacle, eye.eye[None], seen[k, j][None, None], 0.0)[0]) for j in range(5)]
            # Between two moments that the eye was placed by, one wheel may dip behind a stone.
            assert rays[0], (name, moment)
            assert sum(rays) >= 4, (name, moment, rays)
            if name == "front" and result.trace.margin[moment] > 0.1:
                back, up = (eye.eye - found.poses.cg[moment]) / length, found.poses.rotation[moment, 0][:, 2]
                onto.append(np.degrees(np.arcsin(back @ up / np.linalg.norm(back))))
    if family in ("climb", "inclined-plane", "slab"):
        # From ahead of a truck that climbs one looks onto it, not along its belly: by 16 degrees over even ground, from
        # which springs, and wheels that lift, take a few.
        assert np.median(onto) > 12.0
