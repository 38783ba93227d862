"""`flatwright bands`: how a wedge is scraped off a part at hand, from heights measured on it, on a sheet to print."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.measure import naming, number, printable, size_mm
from sim.cli.seat import add_load_at

if TYPE_CHECKING:
    from sim.hands.bands import PlannedRound, WedgeWork
    from sim.model.heights import Heights
    from sim.report.map import BandSheet

NAME = "bands"
HELP = (
    "How a wedge comes off your own part: which band of the face gets how many passes of full rows, round by round, on "
    "a sheet to print. Heights are those an indicator gave, z up out of the face: above the plate that the part stands "
    "on, or, with --datum, in one frame of the part with the points of the face that it stands on."
)
CELLS = 320  # along the longer side
MOST_READINGS = 2000
SHOWN_ROUNDS = 12  # on the screen; the page has them all


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options; what the model allows is checked in `run`."""
    parser.add_argument("file", metavar="READINGS", help="CSV whose header names x, y, z with units: x_mm,y_mm,z_um")
    parser.add_argument("--datum", metavar="FOOT", help="points of the face that the part stands on, in one frame: the "
                        "heights are then taken above its contact plane")  # fmt: skip
    parser.add_argument("--square", action="store_true", help="READINGS are a side that should be square to the datum "
                        "(x_um,y_mm,z_mm): the base is tapered to set it upright")  # fmt: skip
    add_load_at(parser, "where the weight acts on the datum, mm: 80,55 (default: over the mean of its points)")
    parser.add_argument("--removal", type=number, metavar="UM", help="what a pass of full rows of yours takes, µm "
                        "(default 2.1: a skilled hand in this model)")  # fmt: skip
    parser.add_argument("--size", type=size_mm, metavar="WxH", help="the face along x and y: 160x110 (mm), 6x4in "
                        "(default: extent of the readings)")  # fmt: skip
    parser.add_argument("--pads", action="store_true", help="pads at the higher corners first, then the rest to them")
    parser.add_argument("--limit", type=number, metavar="UM", help="a plane that spans no more is left to the blue, µm "
                        "(default 3)")  # fmt: skip
    parser.add_argument("--out", metavar="DIR", help="folder of NAME-bands.html and NAME-bands.png (default: here)")
    parser.add_argument("--force", action="store_true", help="overwrite them if they are there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else; files only with "
                        "--out")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Plan, write the sheet and its picture, print."""
    import json

    from sim.errors import BadParam, CannotWrite
    from sim.report.figures import refuse_existing, save_figure
    from sim.report.map import bands_figure, write_bands_page

    if args.square and args.datum is None:
        raise BadParam("--square goes with --datum FILE, got it alone")
    if args.load_at is not None and args.datum is None:
        raise BadParam("--load-at goes with --datum FILE, got it alone")
    if args.square and args.pads:
        raise BadParam("--pads go with readings of the face that is scraped, and --square tapers the base: got both")
    page, picture = (Path(args.out or ".") / f"{Path(args.file).stem}-bands.{kind}" for kind in ("html", "png"))
    if args.out:
        refuse_existing(page, args.force)
        refuse_existing(picture, args.force)
    sheet, told = planned(args)
    note = ""
    if told["rounds"] and (args.out or not args.json):
        try:
            refuse_existing(picture, args.force)
            write_bands_page(page, sheet, args.force)
            save_figure(bands_figure(sheet), picture, args.force)
            note = f"sheet to print: {page}\npicture: {picture}"
        except CannotWrite as error:
            if args.out:
                raise
            note = f"no new sheet: {error}"
    if args.json:
        print(json.dumps(told, allow_nan=False))
    else:
        _print(sheet, told, printable(note))
    return 0


def planned(args: argparse.Namespace) -> "tuple[BandSheet, dict[str, Any]]":
    """The sheet and what --json prints.

    Raises
    ------
    BadFile, BadParam
        Points that cannot be planned from, options out of range, a plan of too many passes.
    """
    from dataclasses import replace

    import numpy as np

    from sim.errors import BadParam
    from sim.hands.bands import band_plan, corner_pads, level_pads, taper_plan
    from sim.intake.tables import read_heights
    from sim.measure.orient import PER_MM
    from sim.report.map import BandSheet

    heights = read_heights(args.file)
    with naming(args.file):
        _refuse_readings(heights)
    against: dict[str, Any] = {}
    if args.datum is not None:
        against, heights = _above_datum(args, heights)
    work = _work(args, heights)
    with naming(args.datum if args.square else args.file):
        origin, size = _rectangle(heights, args.size)
    pitch_mm = max(size) / CELLS
    shape = max(1, round(size[1] / pitch_mm)), max(1, round(size[0] / pitch_mm))
    local = replace(heights, x_mm=heights.x_mm - origin[0], y_mm=heights.y_mm - origin[1])
    if args.square:
        lean = against["lean_um_per_100mm"] / -PER_MM  # a side that leans toward +x: iron goes at the other end
        slopes = (lean, 0.0) if against["lean_along"] == "x" else (0.0, lean)
        plan = taper_plan(shape, pitch_mm, slopes, work.removal_um)
        plan = replace(plan, rounds=0) if plan.span_um <= work.limit_um else plan
    else:
        plan = band_plan(local, shape, pitch_mm, work.removal_um, work=work)
    highest_um = float(plan.depth_um.max())
    if plan.rounds and highest_um / work.removal_um >= work.most_passes + 0.5:
        raise BadParam(f"a plan must have at most {work.most_passes} passes, got {highest_um / work.removal_um:.0f}: "
                       f"{highest_um:.0f} µm at {work.removal_um:g} µm a pass")  # fmt: skip
    iron, pads = np.ones(shape, dtype=np.bool_), None
    if args.pads:
        pads = corner_pads(shape, min(round(work.pad_mm / pitch_mm), min(shape) // 3))
        plan = level_pads(plan, iron, pads) if plan.rounds else plan
    name = printable(Path(args.datum if args.square else args.file).name)
    title = f"{name}: {'base to taper, ' if args.square else ''}{size[0]:.4g} × {size[1]:.4g} mm"
    sheet = BandSheet(plan, local, iron, pitch_mm, title, pads=pads, origin_mm=origin, base_up=args.square, work=work)
    told = _told(sheet, (origin, size), against) | {"size_from": "readings" if args.size is None else "option"}
    return replace(sheet, figures=_figures(told), warnings=told["warnings"]), told


def _work(args: argparse.Namespace, heights: "Heights") -> "WedgeWork":
    """Habits as the options have them; stations reach as far as they are apart."""
    from dataclasses import fields

    from sim.hands.bands import WedgeWork
    from sim.params import check_param
    from sim.report.map import station_gap_mm

    metadata = {one.name: one.metadata for one in fields(WedgeWork)}
    asked = {f"{name}_um": value for name in ("removal", "limit") if (value := getattr(args, name)) is not None}
    for name, value in asked.items():
        check_param(f"--{name.removesuffix('_um')}", value, metadata[name])
    low, high = metadata["station_mm"]["allowed"]
    return WedgeWork(station_mm=min(max(station_gap_mm(heights), low), high), **asked)


def _refuse_readings(heights: "Heights") -> None:
    """Raise for points that are no sweep of a face."""
    from sim.errors import BadParam
    from sim.seat.rigid import refuse_collinear

    if len(heights) > MOST_READINGS:
        raise BadParam(f"at most {MOST_READINGS:,} readings are planned from, got {len(heights):,}: thin out the scan")
    refuse_collinear(heights.x_mm, heights.y_mm)


def _above_datum(args: argparse.Namespace, heights: "Heights") -> "tuple[dict[str, Any], Heights]":
    """What is told of the face against the datum, and its heights above the contact plane; the base for --square."""
    from dataclasses import replace

    from sim.intake.tables import read_heights
    from sim.measure.orient import datum_of, parallelism, perpendicularity
    from sim.units import UM_PER_MM

    datum = read_heights(args.datum)
    with naming(args.datum):
        base = datum_of(datum, args.load_at)
    with naming(args.file):
        if args.square:
            side = perpendicularity(datum, heights, args.load_at)
            return {"perpendicularity_um": side.contact_um, "lean_um_per_100mm": side.lean_um_per_100mm,
                    "lean_along": side.lean_along, "rocks": side.rocks}, datum  # fmt: skip
        face = parallelism(datum, heights, args.load_at)

    def along_um(points: "Heights") -> Any:
        x, y, z = base.contact
        return (points.x_mm * x + points.y_mm * y) * UM_PER_MM + points.z_um * z

    above = replace(heights, z_um=along_um(heights) - along_um(datum).min())
    return {"parallelism_um": face.contact_um, "rocks": face.rocks}, above


def _rectangle(heights: "Heights", size: tuple[float, float] | None) -> tuple[tuple[float, float], tuple[float, float]]:
    """Low corner and size of the face: from 0, 0 if every reading lies on it there, or else about the readings."""
    from sim.errors import BadParam

    ends = [(float(v.min()), float(v.max())) for v in (heights.x_mm, heights.y_mm)]
    spans = [high - low for low, high in ends]
    if size is None:
        if min(spans) < max(spans) / CELLS:
            got = f"{spans[0]:.4g} x {spans[1]:.4g} mm"
            raise BadParam(f"the readings are too narrow for a face, {got}: --size WxH names it")
        return (ends[0][0], ends[1][0]), (spans[0], spans[1])
    if any(span > side * (1.0 + 1e-9) for span, side in zip(spans, size, strict=True)):
        got = f"{size[0]:g} x {size[1]:g}"
        raise BadParam(f"--size must hold the readings, {spans[0]:.6g} x {spans[1]:.6g} mm, got {got}")
    if all(low >= 0.0 and high <= side for (low, high), side in zip(ends, size, strict=True)):
        return (0.0, 0.0), size
    return (0.5 * (sum(ends[0]) - size[0]), 0.5 * (sum(ends[1]) - size[1])), size


def _told(sheet: "BandSheet", face: tuple[tuple[float, float], ...], against: dict[str, Any]) -> dict[str, Any]:
    """The plan as it goes into the JSON object, units in the keys; face: its low corner and size, mm."""
    import numpy as np

    from sim.hands.bands import estimated_hours, lowest_corner, wander_mm

    plan, work, readings = sheet.plan, sheet.work, sheet.readings
    rounds = sheet.rounds()
    row, col = lowest_corner(plan.depth_um)
    (x0, y0), (length, width) = face
    ends = {"x": [x0, x0 + length], "y": [y0, y0 + width]}
    corner = {"x": ends["x"][bool(col)], "y": ends["y"][bool(row)]}
    stations = zip(readings.x_mm + x0, readings.y_mm + y0, readings.z_um, sheet.depth_um, sheet.passes, strict=True)
    keys = ("x_mm", "y_mm", "z_um", "to_take_um", "passes")
    cell_mm2 = sheet.pitch_mm**2
    return {
        "readings": len(readings), "size_mm": [length, width], "face_mm": ends,
        **against, "span_um": plan.span_um,
        "limit_um": work.limit_um, "removal_um": plan.removal_um, "lowest_corner_mm": corner,
        "highest_um": float(plan.depth_um.max()), "under_um": max(0.0, -float(plan.depth_um.min())),
        "rounds": [_told_round(n, one, sheet) for n, one in enumerate(rounds, start=1)],
        "strokes": sum(one.strokes for one in rounds),
        "hours": estimated_hours(rounds, len(readings), work=work),
        "iron_mm3": float(np.maximum(plan.depth_um, 0.0)[sheet.iron].sum()) * cell_mm2 / 1000.0 if rounds else 0.0,
        "wander_mm": wander_mm(plan, sheet.pitch_mm, work),
        "stations": [dict(zip(keys, (v.item() for v in one), strict=True)) for one in stations],
        "warnings": _warnings(sheet, against, bool(rounds)),
    }  # fmt: skip


def _told_round(number: int, one: "PlannedRound", sheet: "BandSheet") -> dict[str, Any]:
    from sim.report.map import round_words

    return {"round": number, "scrape": round_words(one, sheet.pads), "bands": list(one.bands),
            "on_pads": one.on_pads, "area_mm2": float(one.region.sum()) * sheet.pitch_mm**2,
            "strokes": one.strokes}  # fmt: skip


def _warnings(sheet: "BandSheet", against: dict[str, Any], wedge: bool) -> list[str]:
    """What speaks against the plan, or must be known before."""
    from sim.process.recut import hand_proportion

    plan = sheet.plan
    found = hand_proportion(round(plan.span_um, 1))
    if against.get("rocks"):
        found.append("The datum rocks under its load: finish the datum first, or the readings mean little.")
    if wedge and plan.span_um < 0.5 * float(plan.depth_um.max()):
        found.append("More stands above the plane than the wedge: look for a lump or a bad reading before you scrape.")
    low_um = -float(plan.depth_um.min())
    if wedge and low_um >= plan.removal_um:
        found.append(f"Some of the face lies {low_um:.0f} µm under the lowest corner: it is left alone here, and the "
                     "blue comes to it later.")  # fmt: skip
    if sheet.base_up and wedge:
        found.append("Tapering the base tilts every other face against it: do it before they are made parallel.")
    return found


def _figures(told: dict[str, Any]) -> list[tuple[str, str]]:
    """What the sheet tells beside the picture."""
    corner = told["lowest_corner_mm"]
    lines = [("face", _face_words(told)), ("plane spans", f"{told['span_um']:.1f} µm"),
             ("lowest corner", f"x {_mm(corner['x'])}, y {_mm(corner['y'])} mm")]  # fmt: skip
    if "parallelism_um" in told:
        lines.append(("parallelism, contact datum", f"{told['parallelism_um']:.1f} µm"))
    if "perpendicularity_um" in told:
        lines.append(("lean of the side", f"{told['lean_um_per_100mm']:+.1f} µm per 100 mm, {told['lean_along']}"))
    return [*lines, ("a pass takes", f"{told['removal_um']:.3g} µm"), ("rounds", f"{len(told['rounds'])}"),
            ("strokes", f"{told['strokes']:,}"), ("time of a skilled hand", f"{told['hours']:.1f} h"),
            ("iron to come off", f"{told['iron_mm3']:.0f} mm³")]  # fmt: skip


def _face_words(told: dict[str, Any]) -> str:
    """Where the face lies: "x 25 to 145, y 0 to 90 mm"."""
    return ", ".join(f"{axis} {_mm(low)} to {_mm(high)}" for axis, (low, high) in told["face_mm"].items()) + " mm"


def _mm(value: float) -> str:
    """To a tenth, and never -0."""
    return f"{value:z.1f}".removesuffix(".0")


def _print(sheet: "BandSheet", told: dict[str, Any], note: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.report.map import how_words

    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{sheet.title}, {told['readings']:,} readings", style="bold")
    where = _face_words(told)
    if told["size_from"] == "readings":
        console.print(f"The face is taken as the extent of the readings, {where}; --size WxH names it")
    else:
        laid = "from 0, 0" if sheet.origin_mm == (0.0, 0.0) else "with its middle at that of the readings"
        console.print(f"The face of --size is laid {laid}: {where}")
    for sentence in told["warnings"]:
        console.print(sentence, style="bold")
    if not told["rounds"]:
        console.print(f"The plane spans {told['span_um']:.1f} µm; {_no_wedge(told)}: follow the blue.")
        return
    for name, value in sheet.figures[1:]:  # the face is told
        console.print(f"{name}: {value}")
    table = Table("round", "full rows on", box=box.SIMPLE)
    table.add_column("strokes", justify="right")
    for one in told["rounds"][:SHOWN_ROUNDS]:
        table.add_row(str(one["round"]), one["scrape"], f"{one['strokes']:,}")
        if one["round"] % sheet.work.sweep_every == 0:
            table.add_row("", "sweep again, make a new plan", "", style="dim")
    if len(told["rounds"]) > SHOWN_ROUNDS:
        table.add_row("...", f"and so on to round {len(told['rounds'])}", "")
    console.print(table)
    for sentence in how_words(sheet):
        console.print(sentence, style="dim")
    console.print(note)


def _no_wedge(told: dict[str, Any]) -> str:
    if told["span_um"] <= told["limit_um"]:
        return f"no wedge to take, {told['limit_um']:g} µm being left to the blue"
    return f"no wedge to take in full rows, a pass taking {told['removal_um']:g} µm"
