"""`flatwright measure`: how flat a measured face is, and which grade it meets."""

import argparse
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.seat import add_load_at

if TYPE_CHECKING:
    from rich.console import Console

    from sim.intake.levels import Levels
    from sim.measure.flatness import Flatness
    from sim.model.heights import Heights

NAME = "measure"
HELP = "Flatness and grades of measured points or level readings; how parallel or square they are to a datum."
SIGNS = (
    "With --datum both files are in one frame of the part with z up, and the iron lies above the points of the datum: "
    "its contact plane touches them from below. Wedge: positive where the face rises away from the contact datum "
    "toward +x or +y. Twist: positive where the corners low x, low y and high x, high y are the high ones. Lean of a "
    "side: positive where its x (its y, if its normal is nearer to y) grows with height above the datum."
)
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
    parser.epilog = SIGNS
    parser.add_argument(
        "file", nargs="?", metavar="FILE", help="CSV whose header names x, y, z, each with its unit: x_mm,y_mm,z_um"
    )
    parser.add_argument("--datum", metavar="FILE", help="points of the face that FILE should be parallel to: the foot")
    parser.add_argument(
        "--square", action="store_true", help="FILE is a side that should be square to the datum: x_um,y_mm,z_mm"
    )
    add_load_at(parser, "where the weight acts on the datum, mm: 80,55 (default: over the mean of its points)")
    parser.add_argument("--levels", metavar="FILE", help="level readings along a union jack: line,step,reading_arcsec")
    parser.add_argument("--foot", type=length_mm, metavar="LENGTH", help="length of the level's foot: 4in, 101.6mm")
    parser.add_argument(
        "--size",
        type=size_mm,
        metavar="WxH",
        help="size of a plate for its grades: 630x400 (mm), 18x24in (default: extent of the points; none with --datum)",
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


def number(text: str) -> float:
    """A finite number such as 2.1; for argparse."""
    if not re.fullmatch(r"\s*[+-]?(\d{1,9}(\.\d{0,12})?|\.\d{1,12})([eE][+-]?\d{1,2})?\s*", text, re.ASCII):
        raise argparse.ArgumentTypeError(f"must be a number with a decimal point, such as 2.1, got {text[:40]!r}")
    return float(text)


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


@dataclass(frozen=True)
class Measured:
    """What `measure` was given and found: the points, all that is told, and the words for it.

    Attributes
    ----------
    heights : Heights
        A side face is seen from outside: x along it, y up.
    told : dict
        What --json prints.
    name, datum : str
        Names of the files; no datum: "".
    size_mm : (x, y) or None
        What the grades are told for; against a datum they are told only if asked for, and a side has none.
    """

    heights: "Heights"
    told: dict[str, Any]
    name: str
    datum: str
    size_mm: tuple[float, float] | None


def run(args: argparse.Namespace) -> int:
    """Measure, write the plot, then print."""
    import json

    from sim.errors import CannotWrite
    from sim.report.figures import refuse_existing

    heights, levels = _read(args)
    source = Path(args.levels or args.file)
    plot = Path(args.out or ".") / f"{source.stem}-flatness.png"
    if args.out:
        refuse_existing(plot, args.force)
    found = _measure(args, source, heights, levels)
    note = ""
    if args.out or not args.json:
        try:
            _plot(found, plot, args.force)
            note = f"plot: {plot}"
        except CannotWrite as error:
            if args.out:
                raise
            note = f"no new plot: {error}"
    if args.json:
        print(json.dumps(found.told, allow_nan=False))
    else:
        _print(found, printable(note))
    return 0


def answer(
    heights: "Heights", found: "Flatness", size: tuple[float, float] | None, levels: "Levels | None" = None
) -> dict[str, Any]:
    """Flatness, grades for a size, and levels, as they go into the JSON object."""
    from sim.measure.grades import grades

    told: dict[str, Any] = {"points": len(heights), "flatness_um": _flatness_um(found)}
    if size:
        told["grades"] = grades(found.minimum_zone_um, size)
    if levels:
        told["levels"] = {
            "range_um": levels.range_um,
            "closure_um": {"east_west": levels.closure_east_west_um, "north_south": levels.closure_north_south_um},
            "heights_um": levels.heights.z_um.tolist(),
        }
    return told


def _flatness_um(found: "Flatness") -> dict[str, float]:
    return {key: getattr(found, f"{key}_um") for key, _ in FIGURES}


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
    for given, name in ((args.load_at is not None, "--load-at"), (args.square, "--square")):
        if given and args.datum is None:
            raise BadParam(f"{name} goes with --datum FILE, got it alone")
    if args.datum is not None and args.levels is not None:
        raise BadParam("--datum goes with FILE, got --levels: level readings lie in no frame of a part")
    if args.square and args.size:
        raise BadParam("--size is for the grades of a plate, and a side (--square) has none: got both")
    if args.levels is None:
        return read_heights(args.file), None
    levels = read_levels(args.levels, args.foot)
    return levels.heights, levels


def _measure(args: argparse.Namespace, source: Path, heights: "Heights", levels: "Levels | None") -> Measured:
    """All figures; an error names the file that it is about."""
    from sim.intake.tables import read_heights
    from sim.measure.flatness import flatness
    from sim.measure.orient import datum_of, side_on

    against: dict[str, Any] = {}
    if args.datum is not None:
        datum = read_heights(args.datum)
        with naming(args.datum):
            rocks = datum_of(datum, args.load_at).rocks
            base = {"points": len(datum), "flatness_um": _flatness_um(flatness(datum)), "rocks": rocks}
        with naming(source):
            against = {**_orientation(args, datum, heights), "datum": base}
            heights = side_on(heights, datum) if args.square else heights
    size = args.size or (float(heights.x_mm.max() - heights.x_mm.min()), float(heights.y_mm.max() - heights.y_mm.min()))
    size = None if args.square else size
    with naming(source):
        told = answer(heights, flatness(heights), size, levels)
    names = [printable(Path(path).name) if path else "" for path in (source, args.datum)]
    return Measured(heights, {**told, **against}, names[0], names[1], args.size if args.datum else size)


def _orientation(args: argparse.Namespace, datum: "Heights", face: "Heights") -> dict[str, Any]:
    """The face against the datum, as it goes into the JSON object."""
    from sim.measure.orient import Perpendicularity, parallelism, perpendicularity

    found = (perpendicularity if args.square else parallelism)(datum, face, args.load_at)
    zones = {"contact_datum": found.contact_um, "least_squares_datum": found.least_squares_um}
    if found.other_contact_um is not None:
        zones["contact_datum_other_seat"] = found.other_contact_um
    if isinstance(found, Perpendicularity):
        lean = {"lean_um_per_100mm": found.lean_um_per_100mm, "lean_along": found.lean_along}
        return {"perpendicularity_um": zones, "angle_deg": found.angle_deg, "angle_arcsec": 3600.0 * found.angle_deg,
                **lean}
    wedge = {"x": found.wedge_x_um_per_100mm, "y": found.wedge_y_um_per_100mm}
    return {"parallelism_um": zones, "wedge_um_per_100mm": wedge, "twist_um": found.twist_um}


@contextmanager
def naming(path: str | Path) -> Iterator[None]:
    """Say of which file points are that cannot be measured, or planned from."""
    from sim.errors import BadFile, BadParam

    try:
        yield
    except BadParam as error:
        raise BadFile(f"{path}: {error}") from None


def printable(text: str) -> str:
    """A text that any terminal takes: what is no text in a file's name is shown as ?."""
    return text.encode("utf-8", "replace").decode()


def _plot(found: Measured, path: Path, force: bool) -> None:
    from sim.measure.flatness import residuals_um
    from sim.measure.grades import STANDARDS
    from sim.report.figures import flatness_figure, save_figure
    from sim.report.tables import orientation_rows

    told, lines, side = found.told, [], "perpendicularity_um" in found.told
    if found.datum:
        lines += [(f"{'Perpendicularity' if side else 'Parallelism'}, µm", "")]
        lines += [*((words, value) for words, value, _ in orientation_rows(told)), ("", "")]
    lines += [("Flatness, µm", "")]
    lines += [(title, f"{told['flatness_um'][key]:.3f}") for key, title in FIGURES]
    if found.size_mm:
        lines += [("", ""), ("Grade met", "")]
        lines += [(standard.title, told["grades"][standard.key] or "–") for standard in STANDARDS]
    if "levels" in told:
        closure = told["levels"]["closure_um"]
        lines += [("", ""), ("Levels, µm", ""), ("range", f"{told['levels']['range_um']:.3f}")]
        lines += [("closure east–west", _signed(closure["east_west"]))]
        lines += [("closure north–south", _signed(closure["north_south"]))]
    title = f"{found.name}: {told['points']:,} points"
    title += f", against {found.datum}" if found.datum else ""
    axes = ("along the side, seen from outside, mm", "up, mm") if side else ("x, mm", "y, mm")
    save_figure(flatness_figure(found.heights, residuals_um(found.heights), lines, title, axes), path, force)


def _signed(value_um: float) -> str:
    """With its sign, and never as -0.000."""
    return f"{round(value_um, 3) + 0.0:+.3f}"


def _print(found: Measured, note: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.units import UM_PER_TENTH

    told = found.told
    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{found.name}: {told['points']:,} points")
    if found.datum:
        _print_against(console, found)
    table = Table("flatness", box=box.SIMPLE)
    table.add_column("µm", justify="right")
    table.add_column("tenths (0.0001 in)", justify="right")
    for key, title in FIGURES:
        value = told["flatness_um"][key]
        table.add_row(title, f"{value:.3f}", f"{value / UM_PER_TENTH:.3f}")
    console.print(table)
    if found.size_mm:
        _print_grades(console, told, found.size_mm)
    if "levels" in told:
        closure = told["levels"]["closure_um"]
        console.print(
            f"Range about the diagonals' plane {told['levels']['range_um']:.3f} µm "
            f"({told['levels']['range_um'] / UM_PER_TENTH:.3f} tenths); closure "
            f"east–west {_signed(closure['east_west'])} µm, north–south {_signed(closure['north_south'])} µm"
        )
    console.print(note)


def _print_grades(console: "Console", told: dict[str, Any], size: tuple[float, float]) -> None:
    from rich import box
    from rich.table import Table

    from sim.measure.grades import STANDARDS
    from sim.units import MM_PER_INCH, UM_PER_TENTH

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


def _print_against(console: "Console", found: Measured) -> None:
    from rich import box
    from rich.table import Table

    from sim.report.tables import orientation_rows, thick_end
    from sim.units import UM_PER_TENTH

    base = found.told["datum"]
    flat = base["flatness_um"]["minimum_zone"]
    console.print(f"Datum {found.datum}: {base['points']:,} points, flat within {flat:.3f} µm "
                  f"({flat / UM_PER_TENTH:.3f} tenths), minimum zone")  # fmt: skip
    if base["rocks"]:
        console.print(f"{found.datum} rocks under its load: of the two seats farthest apart both are told")
    kind = "perpendicularity" if "perpendicularity_um" in found.told else "parallelism"
    table = Table(f"{kind} to the", box=box.SIMPLE)
    table.add_column("µm", justify="right")
    table.add_column("tenths (0.0001 in)", justify="right")
    for row in orientation_rows(found.told):
        table.add_row(*row)
    console.print(table)
    console.print(thick_end(found.told))
