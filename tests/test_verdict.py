"""Levels chosen by a short search, and the plan that is written from them."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from models import scenario
from sim.batch.plan import read_plan
from sim.cli.main import main
from sim.decision.levels import Chosen, chosen_levels, on_steps
from sim.decision.obstacle_mix import lines
from sim.decision.plan_text import plan_text
from sim.trial.ground_cache import Yard

YARD = Yard(134.0, 27.0, 24.0)
CLIMB, LEDGE = lines(["climb", "ledge"], [], YARD)


class Limits:
    """Stands in for an opened field: limits of trucks drawn from a normal law."""

    def __init__(self, means: dict[str, float], spread: float) -> None:
        self.searches = self
        self.rng = np.random.default_rng(3)
        self.means, self.spread, self.asked = means, spread, []

    def find(self, trucks, repeats) -> None:
        self.asked.append((list(trucks), list(repeats)))

    def value(self, truck: str, line: int, repeat: int) -> float:
        return self.means[truck] + self.spread * float(self.rng.standard_normal())


def test_levels_of_like_trucks_lie_between_ten_and_ninety_percent() -> None:
    field = Limits({"a": 50.0, "b": 50.5}, 3.0)
    chosen, = chosen_levels(field, ["a", "b"], [CLIMB], repeats=40)  # type: ignore[arg-type]
    assert len(chosen.levels) == 3
    rng = np.random.default_rng(4)
    limits = 50.25 + 3.0 * rng.standard_normal(4000)
    for level in chosen.levels:
        assert 0.10 < float(np.mean(limits > level)) < 0.90


def test_levels_of_unlike_trucks_reach_from_the_weaker_to_the_stronger() -> None:
    field = Limits({"a": 45.0, "b": 53.0}, 1.0)
    chosen, = chosen_levels(field, ["a", "b"], [CLIMB], repeats=30)  # type: ignore[arg-type]
    assert chosen.levels == pytest.approx([45, 49, 53], abs=1.0)


def test_levels_keep_to_what_can_be_built() -> None:
    assert on_steps(CLIMB, [CLIMB.high + 5.0, CLIMB.high - 1.2, CLIMB.high - 1.3]) == (CLIMB.high - 1.25,)


def test_the_plan_is_one_that_batch_reads(tmp_path: Path) -> None:
    build = scenario.builds()[-1]
    change = scenario.changes(build)[0]
    chosen = [Chosen(CLIMB, (50.0, 52.0), 51.0, 1.5, ()), Chosen(LEDGE, (), 200.0, 3.0, ())]
    text = plan_text('quoted "name"', build, [("one", change)], chosen, seed=3, repeats=10, base="as it is")
    file = tmp_path / "plan.toml"
    file.write_text(text, encoding="utf-8")
    plan, _ = read_plan(file)
    assert [(entry.family, entry.levels) for entry in plan.obstacle] == [("climb", (50.0, 52.0))]
    assert (plan.baseline, plan.repeats, plan.seed) == ("as it is", 10, 3)
    assert tomllib.loads(text)["configuration"][1]["changes"] == [str(change)]
    with pytest.raises(ValueError, match="no obstacle"):
        plan_text("x", build, [], [chosen[1]], seed=3, repeats=10, base="as it is")


@pytest.mark.slow
def test_from_sheet_and_change_to_verdict_chart_and_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build = next(b for b in scenario.builds() if b.stem == "gundi")
    words = ["verdict", str(build), str(scenario.change(build, "battery-forward")), "--line", "climb", "--repeats", "6",
             "--workers", "1", "--out", str(tmp_path / "out"), "--json"]
    with pytest.raises(SystemExit) as end:
        main(words)
    told = json.loads(capsys.readouterr().out)
    assert end.value.code == 0
    assert told["finding"]
    assert set(told["levels"]) == {"climb"}
    assert all(Path(file).exists() for file in told["files"])
