"""A tool refuses what is out of range, at the door and in one line; every parameter says where it comes from."""

import math
from dataclasses import FrozenInstanceError, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.cli.model import parameters
from sim.errors import BadParam
from sim.params import SOURCES, TOOLS, param, tool


@pytest.fixture(scope="module")
def chisel():
    """A tool that is taken off the list again."""

    @tool
    class Chisel:
        width_mm: float = param(20.0, "mm", (1.0, 50.0), "width of the edge", "common practice, no source")
        steel: str = param("carbon", "", ("carbon", "carbide"), "what it is made of", "from memory")

    yield Chisel
    del TOOLS["Chisel"]


@given(width=st.floats(1.0, 50.0))
def test_every_value_of_the_closed_range_is_taken(chisel, width):
    assert chisel(width_mm=width).width_mm == width


@pytest.mark.parametrize("wrong", [0.999, 50.001, -1.0, math.nan, math.inf, "20", None, True])
def test_a_value_out_of_range_is_refused_with_what_allowed_got(chisel, wrong):
    with pytest.raises(BadParam) as caught:
        chisel(width_mm=wrong)
    assert str(caught.value) == f"Chisel.width_mm must be in [1, 50] mm, got {wrong!r}"


def test_a_word_that_is_not_allowed_is_refused(chisel):
    with pytest.raises(BadParam, match=r"Chisel.steel must be one of carbon, carbide, got 'brass'"):
        chisel(steel="brass")


def test_a_tool_is_frozen_and_a_changed_copy_is_checked_again(chisel):
    made = chisel()
    with pytest.raises(FrozenInstanceError):
        made.width_mm = 30.0
    with pytest.raises(BadParam):
        replace(made, width_mm=60.0)


def test_a_parameter_without_an_honest_origin_is_refused():
    with pytest.raises(BadParam, match="ref must begin with one of source, computed"):
        param(1.0, "mm", (0.0, 2.0), "something", "everybody knows")


def test_every_default_of_the_house_is_in_its_own_range_and_documented():
    listed = parameters()
    assert {"Target"} <= {row["tool"] for row in listed}
    for made in TOOLS.values():
        made()  # its own check runs over every default
    for row in listed:
        where = f"{row['tool']}.{row['name']}"
        assert row["doc"], where
        assert row["ref"].startswith(SOURCES), where
        assert not row["ref"].startswith("source") or len(row["ref"]) > len("source: "), f"{where}: name the source"
