"""Numbers as people type them."""

import math

import pytest

from sim.errors import BadParam
from sim.units import counted, typed, unit_of


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("8", "um", 8.0), ("8 um", "um", 8.0), ("8µm", "um", 8.0), ("0.3 thou", "um", 7.62), ("1 TENTH", "um", 2.54),
        (".001in", "um", 25.4), ("-2.5", "mm", -2.5), ('6"', "mm", 152.4), ("1.5 cm", "mm", 15.0), ("12 %", "%", 12.0),
        ("90°", "deg", 90.0), (f"{math.pi:.9f} rad", "deg", 180.0), ("7", "", 7.0),
    ],
)  # fmt: skip
def test_a_number_is_taken_with_or_without_its_unit(text, unit, value):
    assert typed(text, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("", "um"), ("um", "um"), ("8 kg", "um"), ("1e3", "um"), ("8 um um", "um"), ("inf", "mm"), ("٣", "mm"),
        ("7 um", ""), ("1.2.3", "mm"), ("- 3", "mm"),
    ],
)  # fmt: skip
def test_what_is_no_such_number_is_refused(text, unit):
    with pytest.raises(BadParam, match="must be a"):
        typed(text, unit)


def test_a_comma_is_refused_since_nobody_can_say_what_it_means():
    with pytest.raises(BadParam, match=r"^film must be written with a decimal point and no comma, got '1,234'$"):
        typed("1,234", "um", "film")


def test_one_of_a_thing_is_told_in_the_singular():
    assert [counted(n, "act") for n in (0, 1, 1200)] == ["0 acts", "1 act", "1,200 acts"]
    told = [unit_of(1.0, unit) for unit in ("lamps", "passes", "um", "deg", "per sq in", "s", "")]
    assert told == ["lamp", "pass", "µm", "°", "per in²", "s", ""]
    assert unit_of(2.0, "lamps") == "lamps"
