"""Units of readings: accepted ones against handbook factors, ambiguous ones refused with a reason."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.bench.quantity import read
from models.errors import BuildSheetError


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        # NIST SP 811 (2008), appendix B: ounce 28.34952 g, pound 453.59237 g, inch 25.4 mm, ounce-force inch
        # 7.061552e-3 N m, pound-force inch .1129848 N m, pound-force per inch 175.1268 N/m, kgf 9.80665 N.
        ("mass", "336 g", 0.336),
        ("mass", "11.9 oz", 11.9 * 0.02834952),
        ("mass", "1 lb", 0.45359237),
        ("length", '5.25 "', 5.25 * 0.0254),
        ("length", "5.25in", 5.25 * 0.0254),
        ("torque", "54 oz·in", 54 * 7.061552e-3),
        ("torque", "54 oz-in", 54 * 7.061552e-3),
        ("torque", "54 oz in", 54 * 7.061552e-3),
        ("torque", "1 lb*in", 0.1129848),
        ("torque", "2.1 kg·cm", 2.1 * 9.80665e-2),
        ("torque", "2.1 kg cm", 2.1 * 9.80665e-2),
        ("torque", "0.2 N·m", 0.2),
        ("torque", "0.2 N m", 0.2),
        ("force", "1.2 kg", 1.2 * 9.80665),
        ("force", "4 N", 4.0),
        ("stiffness", "0.8 lb/in", 0.8 * 175.1268),
        ("stiffness", "0.14 N/mm", 140.0),
        ("angle", "45 deg", 0.78539816),
        ("speed", "2 mph", 2 * 0.44704),
        ("time", "1.5 s", 1.5),
        ("voltage", "7.4 V", 7.4),
    ],
)
def test_units_of_the_bench(kind: str, text: str, expected: float) -> None:
    # Half a unit of the seventh printed digit.
    assert read(kind, text, "x") == pytest.approx(expected, rel=5e-7)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "value", "told"),
    [
        ("mass", 336, "without a unit"),
        ("mass", "336", "without a unit"),
        ("mass", "12 fl oz", "volume"),
        ("mass", "2 N", "That is a force"),
        ("mass", "12 G", "Capitals count"),
        ("mass", "1,250 g", "comma"),
        ("mass", "12,5 g", "comma"),
        ("mass", "336 mm", "measures length"),
        ("length", "12 '", "minutes of arc"),
        ("torque", "54 oz", "measures mass"),
        ("torque", "2.1 kg", "measures mass"),
        ("mass", "2.1 kg·cm", "measures torque"),
        ("mass", "ten g", "not one number"),
        ("mass", "3 4 g", "is not one number"),
        ("mass", "1e3 g", "is not one number"),
        ("mass", "9**9**9 g", "is not one number"),
        ("mass", "__import__('os')", "not one number"),
        ("mass", "9" * 60 + " g", "not one number"),
        ("mass", True, "not a reading"),
        ("mass", float("nan"), "not one number"),
        ("mass", "3 tuns", "Units of mass"),
        ("stiffness", "2 lb/ft·s", "stiffness"),
    ],
)
def test_what_is_ambiguous_is_refused(kind: str, value: object, told: str) -> None:
    with pytest.raises(BuildSheetError, match=told.replace("(", r"\(")) as fault:
        read(kind, value, "whole.1")  # type: ignore[arg-type]
    assert "whole.1" in str(fault.value)
    assert len(str(fault.value).splitlines()) == 2


def test_a_declared_unit_is_taken_for_bare_numbers_only() -> None:
    assert read("mass", 336, "x", {"mass": "g"}) == pytest.approx(0.336)
    assert read("mass", "1 lb", "x", {"mass": "g"}) == pytest.approx(0.45359237)
    with pytest.raises(BuildSheetError, match="without a unit"):
        read("length", 12, "x", {"mass": "g"})


@given(st.text(max_size=60))
def test_no_text_breaks_the_reader(text: str) -> None:
    try:
        value = read("mass", text, "x")
    except BuildSheetError:
        return
    assert value >= 0.0 or text.strip().startswith("-")
