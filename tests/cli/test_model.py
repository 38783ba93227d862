"""`flatwright model` lists every parameter with where it comes from, as a table and as JSON."""

import json
from dataclasses import fields

from sim import PHYSICS, cli
from sim.params import TOOLS
from sim.shop.commands import COMMANDS
from sim.target import Target


def test_json_is_one_object_with_every_field_of_every_tool(capsys):
    assert cli.main(["model", "--json"]) == 0
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert err == ""
    assert set(told) == {"parameters", "physics"}
    assert told["physics"] == PHYSICS
    assert all(set(row) == {"tool", "name", "unit", "default", "allowed", "doc", "ref"} for row in told["parameters"])
    names = [(row["tool"], row["name"]) for row in told["parameters"]]
    made = [(name, field) for name in sorted(TOOLS) for field in fields(TOOLS[name]) if "unit" in field.metadata]
    assert names[: len(made)] == [(name, field.name) for name, field in made]
    others = told["parameters"][len(made) :]
    kinds = {row["tool"].split(":")[0] for row in others}
    assert kinds == {"blade", "hand", "strategy", "stage", "stages", "edge wear", "time of an act"}
    assert all(row["ref"] and row["doc"] for row in told["parameters"])
    for row in others:
        if not isinstance(row["default"], str):
            assert row["allowed"][0] <= row["default"] <= row["allowed"][1]
    told_times = {row["name"]: row["default"] for row in others if row["tool"] == "time of an act"}
    assert told_times == {name: command.seconds for name, command in COMMANDS.items()}
    row = next(row for row in told["parameters"] if (row["tool"], row["name"]) == ("Target", "bearing_flatness_um"))
    assert row["default"] == Target().bearing_flatness_um
    assert (row["unit"], row["allowed"]) == ("um", [0.1, 1000.0])


def test_the_table_groups_by_tool_and_keeps_every_word(capsys):
    assert cli.main(["model"]) == 0
    out = capsys.readouterr().out
    assert [line.strip() for line in out.splitlines() if line.strip() in TOOLS] == sorted(TOOLS)
    for name in ("bearing_flatness_um", "0.1 to 1000", "common practice"):
        assert name in out
