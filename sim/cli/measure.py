"""`flatwright measure`: how flat a measured face is, and which grade it meets."""

import argparse
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.intake.levels import Levels
    from sim.measure.flatness import Flatness
    from sim.model.heights import Heights

NAME = "measure"
HELP = "Flatness and grades of measured points, or of level readings along a union jack."
MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4}
LARGEST_MM = 100_000.0
FIGURES = (
    ("minimum_zone", "minimum zone"),
    ("least_squares", "least squares, FLTt"),
    ("peak", "peak, FLTp"),
    ("valley", "valley, FLTv"),
    ("rms", "root mean square, FLTq"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="CSV whose header names x, y, z, each with its unit: x_mm,y_mm,z_um"
    )
    parser.add_argument("--levels", metavar="FILE", help="level readings along a union jack: line,step,reading_arcsec")
    parser.add_argument("--foot", type=length_mm, metavar="LENGTH", help="length of the level's foot: 4in, 101.6mm")
    parser.add_argument(
        "--size",
        type=size_mm,
        metavar="WxH",
        help="size of the plate for the grades: 630x400 (mm), 18x24in (default: extent of the points)",
    )
    parser.add_argument("--out", metavar="DIR", help="folder of the plot NAME-flatness.png (default: here)")
    parser.add_argument("--force", action="store_true", help="overwrite the plot if it is there")
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object and nothing else; plot only with --out"
    )


def length_mm(text: str) -> float:
    """A length with its unit, such as 4in or 101.6mm, in mm; for argparse."""
    parts = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{0,9})?|\.\d{1,9})\s*([a-z]+)\s*", text, re.ASCII | re.IGNORECASE)
    if not parts or parts[2].lower() not in MM_PER:
        allowed = f"a length with its unit ({', '.join(MM_PER)}), such as 4in"
        raise argparse.ArgumentTypeError(f"must be {allowed}, got {text[:40]!r}")
    return float(parts[1]) * MM_PER[parts[2].lower()]


def size_mm(text: str) -> tuple[float, float]:
    """Two lengths such as 630x400 or 18x24in, in mm; for argparse."""
    parts = re.fullmatch(r"\s*([\d.]+)\s*[x×*]\s*([\d.]+)\s*([a-z]*)\s*", text, re.ASCII | re.IGNORECASE)
    try:
        sides = [length_mm(side + (parts[3] or "mm")) for side in (parts[1], parts[2])] if parts else []
    except argparse.ArgumentTypeError:
        sides = []
    if not sides or not all(0.0 < side <= LARGEST_MM for side in sides):
        allowed = f"two lengths above 0 and up to {LARGEST_MM / 1000:g} m, such as 630x400 (mm) or 18x24in"
        raise argparse.ArgumentTypeError(f"must be {allowed}, got {text[:40]!r}")
    return sides[0], sides[1]


def run(args: argparse.Namespace) -> int:
    """Measure, write the plot, then print."""
    import json
    from pathlib import Path

    from sim.errors import BadFile, BadParam, CannotWrite
    from sim.measure.flatness import flatness
    from sim.report.figures import refuse_existing

    heights, levels = _read(args)
    source = Path(args.levels or args.file)
    plot = Path(args.out or ".") / f"{source.stem}-flatness.png"
    if args.out:
        refuse_existing(plot, args.force)
    try:
        found = flatness(heights)
    except BadParam as error:
        raise BadFile(f"{source}: {error}") from None
    size = args.size or (float(heights.x_mm.max() - heights.x_mm.min()), float(heights.y_mm.max() - heights.y_mm.min()))
    told = answer(heights, found, size, levels)
    name = source.name.encode("utf-8", "replace").decode()
    note = ""
    if args.out or not args.json:
        try:
            _plot(heights, told, name, plot, args.force)
            note = f"plot: {plot}"
        except CannotWrite as error:
            if args.out:
                raise
            note = f"no new plot: {error}"
    if args.json:
        print(json.dumps(told, allow_nan=False))
    else:
        _print(told, name, size, note.encode("utf-8", "replace").decode())
    return 0


def answer(
    heights: "Heights", found: "Flatness", size: tuple[float, float], levels: "Levels | None" = None
) -> dict[str, Any]:
    """Everything that is told, as it goes into the JSON object."""
    from sim.measure.grades import grades

    told: dict[str, Any] = {
        "points": len(heights),
        "flatness_um": {key: getattr(found, f"{key}_um") for key, _ in FIGURES},
        "grades": grades(found.minimum_zone_um, size),
    }
    if levels:
        told["levels"] = {
            "range_um": levels.range_um,
            "closure_um": {"east_west": levels.closure_east_west_um, "north_south": levels.closure_north_south_um},
            "heights_um": levels.heights.z_um.tolist(),
        }
    return told


def _read(args: argparse.Namespace) -> "tuple[Heights, Levels | None]":
    from sim.errors import BadParam
    from sim.intake.levels import read_levels
    from sim.intake.tables import read_heights

    if (args.file is None) == (args.levels is None):
        raise BadParam(f"measure takes either FILE or --levels FILE, got {'none' if args.file is None else 'both'}")
    if (args.foot is None) != (args.levels is None):
        raise BadParam(
            "--levels and --foot LENGTH, such as 4in, go together, got "
            f"{'--levels' if args.foot is None else '--foot'} alone"
        )
    if args.levels is None:
        return read_heights(args.file), None
    levels = read_levels(args.levels, args.foot)
    return levels.heights, levels


def _plot(heights: "Heights", told: dict[str, Any], name: str, path: Any, force: bool) -> None:
    from sim.measure.flatness import residuals_um
    from sim.measure.grades import STANDARDS
    from sim.report.figures import flatness_figure, save_figure

    lines = [("Flatness, µm", "")]
    lines += [(title, f"{told['flatness_um'][key]:.3f}") for key, title in FIGURES]
    lines += [("", ""), ("Grade met", "")]
    lines += [(standard.title, told["grades"][standard.key] or "–") for standard in STANDARDS]
    if "levels" in told:
        closure = told["levels"]["closure_um"]
        lines += [("", ""), ("Levels, µm", ""), ("range", f"{told['levels']['range_um']:.3f}")]
        lines += [("closure east–west", _signed(closure["east_west"]))]
        lines += [("closure north–south", _signed(closure["north_south"]))]
    title = f"{name}: {told['points']:,} points"
    save_figure(flatness_figure(heights, residuals_um(heights), lines, title), path, force)


def _signed(value_um: float) -> str:
    """With its sign, and never as -0.000."""
    return f"{round(value_um, 3) + 0.0:+.3f}"


def _print(told: dict[str, Any], name: str, size: tuple[float, float], note: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.measure.grades import STANDARDS
    from sim.units import MM_PER_INCH, UM_PER_TENTH

    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{name}: {told['points']:,} points")
    table = Table("flatness", box=box.SIMPLE)
    table.add_column("µm", justify="right")
    table.add_column("tenths (0.0001 in)", justify="right")
    for key, title in FIGURES:
        value = told["flatness_um"][key]
        table.add_row(title, f"{value:.3f}", f"{value / UM_PER_TENTH:.3f}")
    console.print(table)
    table = Table("standard", "grade met", "flatness allowed, µm", "tenths", box=box.SIMPLE)
    for standard in STANDARDS:
        limits = standard.allowed_um(size)
        allowed = ", ".join(f"{grade}: {limit:.3g}" for grade, limit in limits.items()) or "not for this size"
        tenths = ", ".join(f"{grade}: {limit / UM_PER_TENTH:.3g}" for grade, limit in limits.items()) or "–"
        table.add_row(standard.title, told["grades"][standard.key] or ("none" if limits else "–"), allowed, tenths)
    inches = " × ".join(f"{side / MM_PER_INCH:.3g}" for side in size)
    console.print(f"Grades by the minimum zone, for a size of {size[0]:g} × {size[1]:g} mm ({inches} in)")
    console.print(table)
    for standard in (one for one in STANDARDS if not one.allowed_um(size)):
        console.print(f"{standard.title} is graded for {standard.reach}; --size WxH names the plate's size")
    if "levels" in told:
        closure = told["levels"]["closure_um"]
        console.print(
            f"Range about the diagonals' plane {told['levels']['range_um']:.3f} µm "
            f"({told['levels']['range_um'] / UM_PER_TENTH:.3f} tenths); closure "
            f"east–west {_signed(closure['east_west'])} µm, north–south {_signed(closure['north_south'])} µm"
        )
    console.print(note)
