"""People read µm, in the window and in the terminal; um stays in keys, in JSON and in what is typed."""

import ast
import re
from pathlib import Path

import pytest

from sim.errors import BadParam
from sim.params import check_param
from sim.units import shown_unit

TOP = Path(__file__).resolve().parents[2] / "sim"
MODULES = sorted([*(TOP / "bench").glob("*.py"), *(TOP / "cli").glob("*.py")])


def sentences(tree):
    """Strings of a module that are read by somebody: those with a space in them, docstrings left out."""
    lone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [node for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
            and id(node) not in lone and " " in node.value]  # fmt: skip


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_no_sentence_of_the_window_or_a_command_says_um(path):
    found = [f"{path.name}:{node.lineno}: {node.value[:60]!r}" for node in sentences(ast.parse(path.read_text("utf-8")))
             if re.search(r"\bum\b", node.value)]  # fmt: skip
    assert found == []


def test_units_in_what_is_refused_are_those_that_people_read():
    with pytest.raises(BadParam, match=r"film must be in \[1, 8\] µm, got 9\.0"):
        check_param("film", 9.0, {"allowed": (1.0, 8.0), "unit": "um"})


@pytest.mark.parametrize(("told", "shown"), [
    ("um", "µm"), ("um/m", "µm/m"), ("mm", "mm"), ("12 um, cutter in tram", "12 µm, cutter in tram"),
    ("number", "number"), ("bow_x_um", "bow_x_um"), ("", ""),
])  # fmt: skip
def test_only_the_unit_itself_is_shown_otherwise(told, shown):
    assert shown_unit(told) == shown
