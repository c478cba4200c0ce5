"""Make the pictures of the guide from its invented truck.

    python3 scripts/guide_pictures.py [FOLDER]
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

ANSWERS = {
    "scale": "1/18", "wheelbase": 165, "track": 104, "tyre_diameter": 62, "tyre_width": 25, "mass": 812, "front": 425,
    "battery": 47, "battery_at": 32, "weighed": "servo 19, wheels 29, motor 36",
}  # fmt: skip


def main(folder: Path) -> None:
    """Draw the truck as it is, and what moves when the pack goes forward."""
    from models.answers import answers_of
    from models.change_draft import Wish, draft
    from models.configuration import configure
    from models.record import validated
    from models.short import filled
    from models.spec import Sheet
    from models.start import start
    from sim.chart.style import save
    from sim.chart.truck_drawing import truck_drawing
    from sim.chart.two_views import two_views

    folder.mkdir(parents=True, exist_ok=True)
    data = start(answers_of("Serow", ANSWERS)).data | {"invented": True}
    sheet = validated(Sheet, filled(data))
    before = configure(sheet).sheet
    change = draft(sheet, Wish("battery", to=[140.0], along=["battery tray"], name="battery forward"))
    after = configure(sheet, [change]).sheet
    for name, made in (("serow", two_views(before)), ("forward", truck_drawing(after, before, "battery forward", 9.6))):
        for file in save(made, folder / name, ("png",)):
            print(file)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "docs" / "guide")
