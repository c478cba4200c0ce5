"""What a store shows: pairs, exclusions, baselines, limits, words, tables and pictures of it."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import fake_trial
import pytest
from fake_trial import VERSIONS, FakeStudy, FakeTruck
from PIL import Image

from sim.chart import style
from sim.chart.margins import margins
from sim.chart.margins import title as margin_title
from sim.chart.rates import rates
from sim.compare.comparison import Comparison, compare
from sim.compare.export import comparison_row, limit_row, write_comparison_csv, write_trials_csv
from sim.compare.holm import holm
from sim.compare.holm import sentence as holm_sentence
from sim.compare.limits import limits
from sim.compare.sentences import about, finding, kind, label, level, sentences, shift, textbook_lines
from sim.compare.textbook import KARBER, LOGIT, PROBIT, shifts
from sim.errors import SimError
from sim.statistics.interval import Estimate
from sim.statistics.paired import tabulate
from sim.statistics.threshold import Belief
from sim.store.store import Store, StoredTruck
from sim.trial.task import Report, Versions, record

NASTY = '=cmd|"$x_1$" [red]<script>\x07' + "long " * 30


def fill(
    path: Path,
    trucks: dict[str, FakeTruck],
    *,
    levels: tuple[float, ...] = (28.0, 34.0),
    obstacles: tuple[str, ...] = ("ledge", "descent"),
    repeats: int = 40,
    names: dict[str, str] | None = None,
    bad: frozenset[int] = frozenset(),
    versions: Versions = VERSIONS,
    plan: str = "",
) -> Path:
    """A store of stand-in trials."""
    study = FakeStudy(trucks, bad=bad)
    tasks = [
        fake_trial.task(config, x, repeat, obstacle=obstacle)
        for obstacle in obstacles
        for x in levels
        for repeat in range(repeats)
        for config in trucks
    ]
    with Store(path, write=True) as store:
        store.add_configurations([StoredTruck(c, (names or {}).get(c, c), {}) for c in trucks])
        store.add([Report(task, record(fake_trial.perform(study, task)), None, 0.1) for task in tasks], versions)
        if plan:
            store.add_plan("p", "p", plan)
    return path


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Comparison:
    path = fill(tmp_path_factory.mktemp("two") / "s.sqlite", {"a": FakeTruck(30.0), "b": FakeTruck(35.0)})
    with Store(path) as store:
        return compare(store, "a")


def test_cells_hold_what_was_stored(two: Comparison) -> None:
    assert len(two.cells) == 8
    assert [cell.name for cell in two.cells[:2]] == ["a", "b"]
    for cell in two.cells:
        assert cell.rate.trials == 40
        assert cell.rate.successes == cell.outcomes["cleared"]
        assert (cell.verdict is None) == (cell.name == "a")
        assert cell.margin_p5.value <= cell.margin_median.value


def test_pairs_are_those_that_met_the_same_luck(two: Comparison) -> None:
    """Counted again from the stand-in itself."""
    study = FakeStudy({"a": FakeTruck(30.0), "b": FakeTruck(35.0)})
    pairs = []
    for repeat in range(40):
        mine, theirs = (record(fake_trial.perform(study, fake_trial.task(c, 28.0, repeat))) for c in "ba")
        pairs.append((mine.cleared, theirs.cleared))
    cell = next(c for c in two.cells if (c.obstacle, c.level, c.name) == ("ledge", 28.0, "b"))
    assert cell.verdict is not None
    assert cell.verdict.table == tabulate(pairs)
    # The better stand-in never fails where the other clears: the same luck decides both
    assert cell.verdict.table.baseline_only == 0


def test_invalid_and_other_versions_are_left_out(tmp_path: Path) -> None:
    trucks = {"a": FakeTruck(30.0), "b": FakeTruck(30.5)}
    path = fill(tmp_path / "s.sqlite", trucks, repeats=10, versions=Versions("old", "none"))
    fill(path, trucks, repeats=20, bad=frozenset({0, 1}))
    with Store(path) as store:
        got = compare(store)
    assert got.versions == VERSIONS
    assert got.other_versions == 80
    assert got.invalid == 16
    assert all((cell.rate.trials, cell.invalid) == (18, 2) for cell in got.cells)
    assert all(cell.verdict.table.pairs == 18 for cell in got.cells if cell.verdict)


def test_baseline_by_name_plan_or_count(tmp_path: Path) -> None:
    trucks = {"a": FakeTruck(30.0), "b": FakeTruck(33.0)}
    plan = 'baseline = "stock"\nstop_when_decided = true'
    path = fill(tmp_path / "s.sqlite", trucks, names={"b": "stock"}, plan=plan)
    with Store(path) as store:
        assert compare(store).baseline.name == "stock"
        assert compare(store).stopped_early
        assert compare(store, "a").baseline.hash == "a"
        with pytest.raises(SimError, match="a, stock"):
            compare(store, "nobody")


def test_empty_store_says_so(tmp_path: Path) -> None:
    Store(tmp_path / "s.sqlite", write=True).close()
    with Store(tmp_path / "s.sqlite") as store, pytest.raises(SimError, match="no trials yet"):
        compare(store)


def test_limits_of_a_ladder(tmp_path: Path) -> None:
    levels = tuple(float(x) for x in range(20, 46, 3))
    trucks = {"a": FakeTruck(30.0, 2.0), "b": FakeTruck(36.0, 2.0)}
    plan = '[[obstacle]]\nfamily = "ledge"\nfind_limit = { low = 10, high = 60 }'
    path = fill(tmp_path / "s.sqlite", trucks, levels=levels, obstacles=("ledge",), repeats=12, plan=plan)
    with Store(path) as store:
        comparison = compare(store, "a")
    assert comparison.searched == {"ledge": (10, 60)}
    assert all(cell.verdict is None for cell in comparison.cells)
    first, second = limits(comparison)
    assert sentences(comparison, [first, second])[1].startswith("b clears half at ledge 3")
    assert first.half.low <= 30 <= first.half.high
    assert second.half.low <= 36 <= second.half.high
    # Nine in ten: 30 - 2 ln 9 = 25.6
    assert first.ninety.low <= 30 - 2 * math.log(9) <= first.ninety.high
    assert (first.word, second.word) == ("baseline", "better")
    assert second.difference is not None
    assert second.difference.low <= 6 <= second.difference.high
    assert limit_row(second)["verdict"] == "better"
    # The textbook finds the same shift of 6, each by its own assumptions.
    assert list(second.textbook) == ["common-slope logit", "common-slope probit", "Spearman-Karber"]
    assert all(one.low <= 6 <= one.high for one in second.textbook.values())
    assert all(abs(one.value - second.difference.value) < 1.5 for one in second.textbook.values())
    assert limit_row(second)["difference_probit_low"] == second.textbook["common-slope probit"].low
    assert limit_row(first)["difference_probit_low"] is None
    (line,) = textbook_lines([first, second])
    assert line.startswith("b on ledge, shift of the limit in mm: common-slope logit +")
    assert textbook_lines([first]) == []


@pytest.mark.parametrize(("found", "said"), [
    (Estimate(1.2345, 0.0026, 2.46), "+1.2 (+0.0 to +2.5)"),
    (Estimate(-0.04, -0.3, 0.2), "+0.0 (-0.3 to +0.2)"),
    (Estimate(123.4, 98.76, math.inf), "+123.4 (+98.8 to …)"),
])
def test_a_shift_is_told_to_a_tenth(found: Estimate, said: str) -> None:
    assert shift(found) == said


LOPSIDED = {"a": FakeTruck(36.0), "b": FakeTruck(36.0, lopsided=9.0)}


def test_sides_are_named_with_the_worse_one(tmp_path: Path) -> None:
    path = fill(tmp_path / "s.sqlite", LOPSIDED, levels=(32.0,), obstacles=("side-hill",), repeats=80)
    with Store(path) as store:
        comparison = compare(store, "a")
    _, cell = comparison.cells
    study = FakeStudy(LOPSIDED)
    gains: tuple[list[int], list[int]] = ([], [])
    for repeat in range(80):
        b, a = (record(fake_trial.perform(study, fake_trial.task(c, 32.0, repeat, obstacle="side-hill"))) for c in "ba")
        gains[repeat % 2].append(b.cleared - a.cleared)
    assert cell.side_gains is not None
    plain, mirrored = cell.side_gains
    assert [plain.value, mirrored.value] == pytest.approx([sum(side) / 40 for side in gains], abs=1e-12)
    # As built both clear alike; mirrored, b's limit lies 9 degrees lower.
    assert plain.value == 0.0
    lost = 100 * mirrored.value
    assert lost < -20
    said = finding(comparison)
    assert said.startswith(f"b: worse on side hill 32° ({lost / 2:+.0f} points; uphill left +0 (")
    assert f"), worse: uphill right {lost:+.0f} ({100 * mirrored.low:+.0f} to {100 * mirrored.high:+.0f}))" in said
    assert comparison_row(cell)["difference_mirrored_points"] == pytest.approx(lost)
    alone = replace(comparison, cells=(replace(cell, verdict=None),))
    assert "uphill left" in finding(alone)
    assert "worse: uphill right" in finding(alone)


def test_limits_by_side(tmp_path: Path) -> None:
    levels = tuple(float(x) for x in range(20, 50, 3))
    plan = '[[obstacle]]\nfamily = "side-hill"\nfind_limit = { low = 10, high = 60 }'
    path = fill(tmp_path / "s.sqlite", LOPSIDED, levels=levels, obstacles=("side-hill",), repeats=40, plan=plan)
    with Store(path) as store:
        comparison = compare(store, "a")
    even, lopsided = limits(comparison)
    assert even.sides is not None
    assert lopsided.sides is not None
    for found, true in zip((*even.sides, *lopsided.sides), (36, 36, 36, 27), strict=True):
        assert found.low <= true <= found.high
    first, second = sentences(comparison, [even, lopsided])[-2:]
    assert "; uphill left 3" in first
    assert "worse:" not in first  # alike but for luck
    assert "), worse: uphill right 2" in second
    assert limit_row(lopsided)["half_mirrored"] == lopsided.sides[1].value


def test_ground_without_sides_says_nothing_of_them(two: Comparison) -> None:
    assert "worse:" not in finding(two)
    assert all(cell.side_gains is None for cell in two.cells)


@pytest.mark.parametrize("cleared", [0, 1, 2])
def test_textbook_fits_need_both_ends(cleared: int) -> None:
    """Every level cleared, none, or all below all failed: what cannot be fitted is left out, whatever the other did."""
    whole = Belief.start(10, 60)
    for level_, won in ((20, 10), (30, 8), (40, 3), (50, 0)):
        whole = whole.seen(level_, won, 10)
    flat = Belief.start(10, 60)
    for level_ in (20, 30, 40, 50):
        flat = flat.seen(level_, (0, 10, 10 * (level_ < 35))[cleared], 10)
    assert list(shifts(whole, flat)) == ([LOGIT, PROBIT, KARBER] if cleared == 2 else [])
    assert shifts(flat, flat).keys() == ({KARBER} if cleared == 2 else set())


def test_few_levels_give_no_limit(two: Comparison) -> None:
    assert limits(two) == []


def test_words(two: Comparison) -> None:
    assert finding(two).startswith("b against a, over the 4 obstacles and levels driven: +")
    assert "better; better on " in finding(two)
    assert about(two, "b") == f"b: {finding(two).split('; ', 1)[1]}"
    swapped = replace(two, cells=tuple(cell for cell in two.cells if cell.name == "a"))
    assert finding(swapped).startswith("a: surest on ")
    assert label(two.cells[-1]) == "ledge 34 mm"
    assert kind("ledge-on-slope,slope_deg=15") == "ledge on slope (slope 15°)"
    assert (level(30, "mm"), level(35.5, "deg")) == ("30 mm", "35.5°")


def test_worse_and_alike(tmp_path: Path) -> None:
    trucks = {"a": FakeTruck(30.0), "b": FakeTruck(24.0)}
    path = fill(tmp_path / "s.sqlite", trucks, obstacles=("ledge",), levels=(28.0,))
    with Store(path) as store:
        comparison = compare(store, "a")
    assert finding(comparison).startswith("b: worse on ledge 28 mm")
    twins = fill(tmp_path / "t.sqlite", {"a": FakeTruck(30.0), "b": FakeTruck(30.0)}, obstacles=("ledge",))
    with Store(twins) as store:
        assert finding(compare(store, "a")).endswith("no single one of 2 obstacles and levels shows a difference")


def test_all_comparisons_are_read_together(tmp_path: Path) -> None:
    """Nine trucks a hair better each: alone some would be called better that together are not."""
    trucks = {c: FakeTruck(30.0 + (c != "a")) for c in "abcdefghij"}
    path = fill(tmp_path / "s.sqlite", trucks, levels=(28.0, 34.0))
    with Store(path) as store:
        comparison = compare(store, "a")
    verdicts = comparison.verdicts
    assert len(verdicts) == 9 * 4 + 9
    assert [one.adjusted_p for one in verdicts] == holm([one.p for one in verdicts])
    for one in verdicts:
        assert one.shown == (one.adjusted_p <= 0.05)
    assert sum(one.exact_p <= 0.05 for one in verdicts) > sum(one.shown for one in verdicts)
    assert holm_sentence(verdicts).startswith("45 comparisons are read together")


def test_tables_hold_every_number(two: Comparison, tmp_path: Path) -> None:
    path = write_comparison_csv(two, tmp_path / "c.csv")
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(two.cells)
    assert list(rows[0]) == list(comparison_row(two.cells[0]))
    assert float(rows[1]["success_percent"]) == pytest.approx(100 * two.cells[1].rate.share)
    assert not list(tmp_path.glob(".*"))


def test_names_cannot_become_formulas(tmp_path: Path) -> None:
    path = fill(tmp_path / "s.sqlite", {"a": FakeTruck(30.0)}, names={"a": NASTY}, repeats=3)
    with Store(path) as store:
        write_trials_csv(store, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="") as file:
        assert all(row["configuration"].startswith("'=cmd") for row in csv.DictReader(file))


@pytest.mark.parametrize("draw", [rates, margins])
def test_pictures_of_anything(tmp_path: Path, draw) -> None:  # type: ignore[no-untyped-def]
    """One truck, odd names, three trials (open intervals), nine trucks: a picture every time."""
    many = {c: FakeTruck(28.0 + i) for i, c in enumerate("abcdefghi")}
    for number, (trucks, repeats) in enumerate([({"a": FakeTruck(30.0)}, 3), (many, 8)]):
        path = fill(tmp_path / f"{number}.sqlite", trucks, repeats=repeats, names={"a": NASTY})
        with Store(path) as store:
            files = style.save(draw(compare(store, "a"), NASTY), tmp_path / f"p{number}", ("png", "svg", "pdf"))
        assert [file.suffix for file in files] == [".png", ".svg", ".pdf"]
        with Image.open(files[0]) as picture:
            assert picture.width > 1200
            assert len(picture.convert("L").getcolors(256) or ()) > 20
        svg = files[1].read_text()
        assert "<script>" not in svg
        assert "\x07" not in svg


def test_same_data_same_picture(two: Comparison, tmp_path: Path) -> None:
    one, other = (style.save(rates(two), tmp_path / name, ("svg",))[0].read_bytes() for name in "ab")
    assert one == other


def test_title_of_margins_says_the_largest_shown(two: Comparison) -> None:
    assert margin_title(two).startswith("b keeps ")
    assert "more margin than a" in margin_title(two)


def test_unknown_format_and_folder(two: Comparison, tmp_path: Path) -> None:
    with pytest.raises(SimError, match="picture format"):
        style.save(rates(two), tmp_path / "x", ("bmp",))
    with pytest.raises(SimError, match="cannot be written"):
        style.save(rates(two), tmp_path / "none" / "x", ("png",))


def test_a_scan_whose_limit_was_searched_is_known_by_its_file(tmp_path: Path) -> None:
    """The plan names the file as the user wrote it, the trials by its place and content."""
    plan = (
        'schema = 1\nname = "p"\n[[obstacle]]\nfamily = "yard/rock.ground.npz"\nfind_limit = { low = 20, high = 90 }\n'
    )
    scan = "/somewhere/yard/rock.ground.npz#0123456789abcdef"
    path = fill(tmp_path / "s.sqlite", {"a": FakeTruck(30.0)}, obstacles=(scan, "ledge"), repeats=3, plan=plan)
    with Store(path) as store:
        found = compare(store)
    assert found.searched == {scan: (20, 90)}
    # Whoever sees a page or table learns the file's name, not the folders of this machine.
    assert {comparison_row(cell)["obstacle"] for cell in found.cells} == {"rock.ground.npz#0123456789abcdef", "ledge"}
    assert not any("somewhere" in cell.place for cell in found.cells)
    assert kind(f"{scan},roughness_mm=0.3") == "rock (roughness 0.3 mm)"
