"""One name for one quantity: the guide explains it, and terminal, page, report and charts say it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from models import glossary
from models.defaults import resolve
from models.scenario import builds, change
from models.sheet import load_sheet

ROOT = Path(__file__).parents[1]
GUNDI = builds()[0]
OLD = ("on the front axle", "centre of gravity up", "gravity centre up", "weight on the front wheels", "tips nose up",
       "tips nose down", "climb: tips back", "descent: noses over", "footprint's nearest edge")
"""What was said for the same things, here and there."""


def explained() -> set[str]:
    """The words of the guide's table, those of one row one by one."""
    text = (ROOT / "docs" / "guide.md").read_text(encoding="utf-8").split("## Words")[1].split("## ")[0]
    rows = [row.split("|")[1].strip() for row in text.splitlines() if row.startswith("| ")][1:]
    found = {word.strip() for row in rows for word in re.split(r" / |, ", row)} | set(rows)
    return found | {f"slides {word}" for word in found if word.startswith("on a ")}


def shown_words(rows: list[str]) -> set[str]:
    """Which of the names a list of labels says."""
    return {name for name in glossary.STANDING if any(row.startswith(name) for row in rows)}


def test_the_guide_explains_every_name() -> None:
    assert set(glossary.STANDING) - explained() == set()


def test_the_terminal_says_them(capsys: pytest.CaptureFixture[str]) -> None:
    from sim.cli.main import main

    with pytest.raises(SystemExit):
        main(["sheet", str(GUNDI)])
    said = capsys.readouterr().out.replace(f"{glossary.SLIDES_BACK} / side-hill", f"{glossary.SLIDES_BACK} "
                                           f"{glossary.SLIDES_SIDEWAYS}")
    assert [name for name in glossary.STANDING if name not in said] == []


def test_the_page_says_them() -> None:
    from sim.page.numbers import rows, standing

    now = standing(resolve(load_sheet(GUNDI)))
    assert shown_words([row.words for row in rows(now, now)]) == set(glossary.STANDING)


def test_the_report_says_those_it_shows() -> None:
    from sim.report.truck_card import _measures
    from sim.trial.truck import load_truck

    truck = load_truck(GUNDI)
    labels = list(_measures(truck.facts, truck.configuration.sheet))
    assert labels[0] == "mass"
    assert shown_words(labels) == {glossary.FRONT_BIAS, glossary.CG_HEIGHT, glossary.SIDEWAYS, glossary.BACK,
                                   glossary.OVER, glossary.EDGE, glossary.RISE}
    assert all(any(label.startswith(name) for name in glossary.STANDING) for label in labels[1:])


def test_the_doubts_of_a_sheet_are_named_alike() -> None:
    from models.sensitivity import ALSO, ANGLES

    assert {*ANGLES, *ALSO} == set(glossary.STANDING) - {glossary.EDGE, glossary.RISE}


def test_charts_say_those_they_show() -> None:
    import matplotlib.pyplot as plt

    from models.change import load_change
    from models.edit import apply
    from sim.chart.shift import TIPS
    from sim.chart.two_views import two_views

    assert shown_words([word for _, word in TIPS]) == {glossary.SIDEWAYS, glossary.BACK, glossary.OVER}
    drawn = two_views(apply(load_sheet(GUNDI), [load_change(change(GUNDI, "battery-forward"))]))
    said = " ".join(text.get_text() for text in drawn.findobj(lambda one: hasattr(one, "get_text")))
    plt.close(drawn)
    assert glossary.FRONT_BIAS in said
    assert glossary.CG_HEIGHT in said


def test_no_other_name_is_left() -> None:
    for folder in ("sim/page", "sim/report", "sim/chart", "sim/cli"):
        for file in [*(ROOT / folder).rglob("*.py"), *(ROOT / folder).rglob("*.html")]:
            text = file.read_text(encoding="utf-8")
            # Prose may speak of weight on the front axle; as a label in quotes it is called front bias.
            assert [old for old in OLD if f'"{old}' in text] == [], file
