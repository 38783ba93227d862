"""`flatwright model`: every number that the model rests on, and where it comes from."""

import argparse
from typing import Any

NAME = "model"
HELP = "List every parameter of the model with its unit, default, range and origin."
STAGE_REF = "computed: trials of this model"
STAGE_WORDS = {
    "push_n": ("N", (0.0, 900.0), "push"),
    "film_um": ("um", (0.0, 50.0), "film rolled"),
    "spacing_mm": ("mm", (0.1, 50.0), "from lane to lane over a mark"),
    "longest_mm": ("mm", (0.1, 200.0), "longest stroke"),
    "least_rounds": ("", (0, 1_000_000), "rounds before going finer"),
    "narrow_share": ("", (0.1, 1.0), "least push in a narrow lane / in one as wide as the spacing"),
}
ROOMS = ("model", "process", "seat", "measure", "hands", "shop")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Print parameters and settings as one table a tool, or as JSON."""
    import json

    from sim import PHYSICS

    listed = parameters() + settings()
    if args.json:
        print(json.dumps({"parameters": listed, "physics": PHYSICS}, allow_nan=False))
    else:
        _print_tables(listed)
    return 0


def parameters() -> list[dict[str, Any]]:
    """Every `param` of every tool of the rooms that hold the model, by tool and in the order of declaration."""
    import dataclasses
    import importlib
    import pkgutil

    import sim
    from sim.params import TOOLS

    importlib.import_module("sim.target")
    for room in (module.name for module in pkgutil.iter_modules(sim.__path__) if module.name in ROOMS):
        package = importlib.import_module(f"sim.{room}")
        for module in pkgutil.iter_modules(package.__path__):
            importlib.import_module(f"sim.{room}.{module.name}")
    return [
        {"tool": name, "name": field.name, "default": field.default, **field.metadata}
        for name, tool in sorted(TOOLS.items())
        for field in dataclasses.fields(tool)
        if "unit" in field.metadata  # shapes of a part are no parameters
    ]


def settings() -> list[dict[str, Any]]:
    """What is set otherwise than by a `param`: rack of blades, hands, options of strategies, stages of the pilot, wear,
    time of each act."""
    import dataclasses

    from sim.hands.autopilot import RUB_MM, SPLIT, STAGES
    from sim.hands.skill import HANDS
    from sim.hands.strategy import STRATEGIES
    from sim.model.blade import RACK
    from sim.process.stroke import WEAR_UM_PER_M
    from sim.shop.commands import COMMANDS

    rows: list[dict[str, Any]] = []

    def tell(tool: str, name: str, value: Any, allowed: tuple[Any, ...], words: tuple[str, str, str]) -> None:
        unit, doc, ref = words
        rows.append({"tool": tool, "name": name, "default": value, "unit": unit, "allowed": allowed, "doc": doc,
                     "ref": ref})  # fmt: skip

    for kind, made in (("blade", RACK), ("hand", HANDS)):
        for name, thing in made.items():
            for field in dataclasses.fields(thing):
                words = tuple(field.metadata[key] for key in ("unit", "doc", "ref"))
                tell(f"{kind}: {name}", field.name, getattr(thing, field.name), field.metadata["allowed"], words)
    for way in STRATEGIES.values():
        for name, option in way.options.items():
            words = tuple(option.metadata[key] for key in ("unit", "doc", "ref"))
            tell(f"strategy: {way.name}", name, option.default, option.metadata["allowed"], words)
    for stage in (*STAGES, SPLIT):
        for name, (unit, allowed, doc) in STAGE_WORDS.items():
            tell(f"stage: {stage.name}", name, getattr(stage, name), allowed, (unit, doc, STAGE_REF))
    shop_rule = "common practice, no source"
    tell("stages", "rub_mm", RUB_MM, (0.0, 300.0), ("mm", "way of the pilot's rub", shop_rule))
    for material, um_per_m in WEAR_UM_PER_M.items():
        tell("edge wear", material, um_per_m, (0.0, 10.0), ("um/m", "growth of the edge radius", "from memory"))
    for name, command in COMMANDS.items():
        doc = "shop time, strokes and reading apart"
        tell("time of an act", name, command.seconds, (0.0, 3600.0), ("s", doc, shop_rule))
    return rows


def _print_tables(listed: list[dict[str, Any]]) -> None:
    import itertools
    import sys

    from rich.console import Console
    from rich.table import Table

    from sim.units import shown_unit

    console = Console(highlight=False, width=None if sys.stdout.isatty() else 160)
    for tool, rows in itertools.groupby(listed, key=lambda row: str(row["tool"])):
        table = Table("name", "default", "allowed", "unit", "meaning", "from", title=tool, title_justify="left")
        for row in rows:
            unit = shown_unit(str(row["unit"]))
            cells = (row["name"], row["default"], _allowed(row["allowed"]), unit, row["doc"], row["ref"])
            table.add_row(*(str(cell) for cell in cells))
        console.print(table, markup=False)


def _allowed(allowed: tuple[Any, ...]) -> str:
    if isinstance(allowed[0], str):
        return ", ".join(allowed)
    return f"{allowed[0]:g} to {allowed[1]:g}"
