"""`flatwright model`: every number that the model rests on, and where it comes from."""

import argparse
from typing import Any

NAME = "model"
HELP = "List every parameter of the model with its unit, default, range and origin."
ROOMS = ("model", "process", "seat", "measure", "hands", "shop")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Print the parameters as one table a tool, or as JSON."""
    import json

    from sim import PHYSICS

    listed = parameters()
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


def _print_tables(listed: list[dict[str, Any]]) -> None:
    import itertools
    import sys

    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, width=None if sys.stdout.isatty() else 160)
    for tool, rows in itertools.groupby(listed, key=lambda row: str(row["tool"])):
        table = Table("name", "default", "allowed", "unit", "meaning", "from", title=tool, title_justify="left")
        for row in rows:
            cells = (row["name"], row["default"], _allowed(row["allowed"]), row["unit"], row["doc"], row["ref"])
            table.add_row(*(str(cell) for cell in cells))
        console.print(table, markup=False)


def _allowed(allowed: tuple[Any, ...]) -> str:
    if isinstance(allowed[0], str):
        return ", ".join(allowed)
    return f"{allowed[0]:g} to {allowed[1]:g}"
