"""Every command of ``cragbench``: its name, where its function is, and the line that ``--help`` shows.

A command's module is imported when the command is called, not before.
"""

from __future__ import annotations

from typing import NamedTuple


class Entry(NamedTuple):
    """One command."""

    name: str
    module: str
    attribute: str
    """A function, or a ``typer.Typer`` holding commands of its own."""
    summary: str
    group: str


TRUCK, DRIVE, STUDY = "One truck", "Driving", "Studies"
DECIDE = "Decisions"
BENCH = "Bench and real runs"
ENTRIES: tuple[Entry, ...] = (
    Entry("demo", "sim.cli.demo_cmd", "demo", "See what moving the battery does, in a few minutes.", TRUCK),
    Entry("start", "sim.cli.start_cmd", "start", "A first build sheet from twelve questions.", TRUCK),
    Entry("page", "sim.cli.page_cmd", "page", "The bench in a browser: pull parts, see what it does, ask.", TRUCK),
    Entry("sheet", "sim.cli.sheet_cmd", "sheet", "Bias, loads, tip angles, price of a build sheet.", TRUCK),
    Entry("change", "sim.cli.change_cmd", "change", "Write a change: move, swap, add, remove, set.", TRUCK),
    Entry("export", "sim.cli.export_cmd", "export", "The truck as URDF for other tools.", TRUCK),
    Entry("drive", "sim.cli.drive_cmd", "drive", "One trial: what happened and why.", DRIVE),
    Entry("terrain", "sim.cli.terrain_cmd", "app", "Obstacles, courses and your own rocks.", DRIVE),
    Entry("batch", "sim.cli.batch_cmd", "batch", "Run or go on with a plan of many trials.", STUDY),
    Entry("plan", "sim.cli.plan_cmd", "app", "Check a plan and what it will take.", STUDY),
    Entry("compare", "sim.cli.compare_cmd", "compare", "Success rates and margins, with charts.", STUDY),
    Entry("demonstrate", "sim.cli.demonstrate_cmd", "demonstrate", "Reliability by repetitions and allowed failures.",
          STUDY),
    Entry("report", "sim.cli.report_cmd", "report", "A store as one page: charts, replays, numbers.", STUDY),
    Entry("chart", "sim.cli.chart_cmd", "chart", "One chart alone, for a post or a video.", STUDY),
    Entry("replay", "sim.cli.replay_cmd", "replay", "A recorded trial as a film.", STUDY),
    Entry("store", "sim.cli.store_cmd", "app", "Look into a store and copy its trials out.", STUDY),
    Entry("validate", "sim.cli.validate_cmd", "validate", "Check the tool against what is known elsewhere.", BENCH),
    Entry("verdict", "sim.cli.verdict_cmd", "verdict", "Is it better with the change? Verdict, chart, page.", DECIDE),
    Entry("shift", "sim.cli.shift_cmd", "shift", "Is moving a part worth it, and where to?", DECIDE),
    Entry("worth", "sim.cli.worth_cmd", "worth", "Which part is worth its money and grams?", DECIDE),
    Entry("budget", "sim.cli.budget_cmd", "budget", "What a sum of money buys best, and in which order.", DECIDE),
    Entry("explore", "sim.cli.explore_cmd", "explore", "The best whole set-up within money, grams and class.", DECIDE),
    Entry("doubt", "sim.cli.doubt_cmd", "doubt", "Which unknown could flip a verdict, and how to settle it.", DECIDE),
    Entry("drilling", "sim.cli.drilling_cmd", "drilling", "Old and new holes 1:1, to print and drill by.", DECIDE),
    Entry("weigh", "sim.cli.weigh_cmd", "weigh", "Centre of gravity and bias from scale readings.", BENCH),
    Entry("measure", "sim.cli.measure_cmd", "measure", "How to measure at the bench, and what it says.", BENCH),
    Entry("fit", "sim.cli.fit_cmd", "fit", "A new build sheet that agrees with the readings.", BENCH),
    Entry("log", "sim.cli.log_cmd", "app", "Attempts on real lines, imported with checks.", BENCH),
    Entry("reality", "sim.cli.reality_cmd", "reality", "Was the prediction right? Learn from real tries.", BENCH),
    Entry("forms", "sim.cli.forms_cmd", "forms", "Set-up sheet, weighing form, run log to print.", BENCH),
)
