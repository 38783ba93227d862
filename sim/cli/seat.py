"""`flatwright seat`: what a rigid part stands on, and whether it rocks."""

import argparse
import re
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.seat.rigid import RigidSeat

NAME = "seat"
HELP = "Rigid seat of measured points on a flat plate: three points, their shares of the load, rocking."
CORNERS = ("low x, low y", "high x, low y", "low x, high y", "high x, high y")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "file", metavar="FILE", help="CSV whose header names x, y, z, each with its unit; z towards the plate"
    )
    add_load_at(parser, "where the load acts, mm: 80,55", required=True)
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def add_load_at(parser: argparse.ArgumentParser, told: str, required: bool = False) -> None:
    """Declare --load-at X,Y, where X may be negative."""
    parser._negative_number_matcher = re.compile(r"^-[\d.]")  # or --load-at -5,3 would be taken for an option
    parser.add_argument("--load-at", type=point_mm, metavar="X,Y", required=required, help=told)


def point_mm(text: str) -> tuple[float, float]:
    """Two numbers such as 80,55 in mm; for argparse."""
    number = r"\s*([+-]?(?:\d{1,9}(?:\.\d{0,12})?|\.\d{1,12}))\s*"
    parts = re.fullmatch(f"{number},{number}", text, re.ASCII)
    if not parts:
        raise argparse.ArgumentTypeError(f"must be two numbers in mm, such as 80,55, got {text[:40]!r}")
    return float(parts[1]), float(parts[2])


def run(args: argparse.Namespace) -> int:
    """Seat the points and print."""
    import json

    from sim.errors import BadFile, BadParam
    from sim.intake.tables import read_heights
    from sim.seat.rigid import rigid_seat

    heights = read_heights(args.file)
    try:
        seat = rigid_seat(heights.x_mm, heights.y_mm, heights.z_um, args.load_at)
    except BadParam as error:
        raise BadFile(f"{args.file}: {error}") from None
    if args.json:
        print(json.dumps(asdict(seat), allow_nan=False))
    else:
        _print(seat, heights, args.load_at)
    return 0


def _print(seat: "RigidSeat", heights: Any, load_at: tuple[float, float]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, markup=False, soft_wrap=True)
    where = f"load at x {load_at[0]:g}, y {load_at[1]:g} mm"
    firm = f"The part sits firmly, {where}."
    console.print(f"The part rocks: the {where} is over an edge of its hull." if seat.rocks else firm)
    for title, one in (("It stands on" if not seat.rocks else "One seat", seat), ("The other seat", seat.other_seat)):
        if one is None:
            continue
        table = Table("row (from 0)", box=box.SIMPLE, title=title, title_justify="left")
        for heading in ("x, mm", "y, mm", "z, µm", "share of the load"):
            table.add_column(heading, justify="right")
        for row, share in zip(one.stands_on_rows, one.shares, strict=True):
            place = (heights.x_mm[row], heights.y_mm[row])
            table.add_row(str(row), *(f"{mm:g}" for mm in place), f"{heights.z_um[row]:.3f}", f"{share:.1%}")
        console.print(table)
        along_x, along_y = one.slopes_um_per_mm
        console.print(
            f"Plate under the load at {one.height_um:.3f} µm, rising {along_x:+.5f} µm/mm along x "
            f"and {along_y:+.5f} along y"
        )
    if seat.rocks:
        table = Table("corner", box=box.SIMPLE)
        table.add_column("moves when it rocks, µm", justify="right")
        for corner, drop in zip(CORNERS, seat.corner_drop_um, strict=True):
            table.add_row(corner, f"{drop:.3f}")
        console.print(table)
