"""`flatwright part`: checks a part file and shows what is in it."""

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.model.part import PartShape

NAME = "part"
HELP = "Check a part file and show it: faces, tolerances, and a picture (default: the stand)."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="part in TOML (default: the stand of the optics bench)")
    parser.add_argument("--out", metavar="DIR", help="folder of the picture NAME-part.png (default: here)")
    parser.add_argument("--force", action="store_true", help="overwrite the picture if it is there")
    parser.add_argument(
        "--json", action="store_true", help="print one JSON object and nothing else; picture only with --out"
    )


def run(args: argparse.Namespace) -> int:
    """Read, write the picture, then print."""
    import json
    from pathlib import Path

    from sim.errors import CannotWrite
    from sim.intake.drawing import read_part
    from sim.paths import assets
    from sim.report.figures import refuse_existing

    source = Path(args.file) if args.file else assets() / "parts" / "stand.toml"
    picture = Path(args.out or ".") / f"{source.stem}-part.png"
    part = read_part(source)
    if args.out:
        refuse_existing(picture, args.force)
    note = ""
    if args.out or not args.json:
        from sim.report.figures import save_figure
        from sim.report.part import part_figure

        try:
            save_figure(part_figure(part), picture, args.force)
            note = f"picture: {picture}"
        except CannotWrite as error:
            if args.out:
                raise
            note = f"no new picture: {error}"
    if args.json:
        print(json.dumps(answer(part), allow_nan=False))
    else:
        _print(part, note.encode("utf-8", "replace").decode())
    return 0


def answer(part: "PartShape") -> dict[str, Any]:
    """Everything that is told: the shape as plain data, each face with its normal and its iron."""
    import dataclasses

    told = dataclasses.asdict(part)
    for face, one in zip(part.faces, told["faces"], strict=True):
        one["frame"]["out"] = face.frame.out
        one["iron_mm2"] = iron_mm2(face.start)
    return told


def iron_mm2(start: Any) -> float:
    """Area of iron of a start face, in whole cells."""
    from sim.process.machining import iron_mask

    return float(iron_mask(start).sum()) * start.pitch_mm**2


def _print(part: "PartShape", note: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    from sim.measure.orient import angle_of

    console = Console(highlight=False, markup=False, soft_wrap=True)
    centre = ", ".join(f"{v:g}" for v in part.centre_mm)
    console.print(f"{part.name}: {part.mass_kg:g} kg, centre of gravity at ({centre}) mm")
    table = Table("face", "size, mm", "looks to", "iron, cm²", "start", "done at", box=box.SIMPLE)
    for face in part.faces:
        start, target = face.start, face.target
        area = iron_mm2(start)
        share = 100.0 * area / (start.length_mm * start.width_mm)
        added = [f"{key[:-3].replace('_', ' ')} {getattr(start, key):+g} µm" for key in
                 ("bow_x_um", "bow_y_um", "twist_um", "wedge_x_um", "wedge_y_um", "rail_um") if getattr(start, key)]
        done = (f"{target.bearing_flatness_um:g} µm, {target.spots_mean:g} spots/in² ({target.spots_lowest:g} lowest), "
                f"{target.bearing_pct:g} %")
        table.add_row(face.name, f"{start.length_mm:g} × {start.width_mm:g}", _way(face.frame.out),
                      f"{area / 100.0:.1f} ({share:.0f} %)", ", ".join([start.kind, *added]), done)
    console.print(table)
    if part.tolerances:
        table = Table("tolerance", "face", "datum", box=box.SIMPLE)
        table.add_column("limit, µm", justify="right")
        table.add_column("over its longest, mm", justify="right")
        table.add_column("arc seconds", justify="right")
        for one in part.tolerances:
            start = part.face(one.face).start
            over_mm = max(start.length_mm, start.width_mm)
            _, seconds = angle_of(one.limit_um, over_mm)
            table.add_row(one.kind, one.face, one.datum, f"{one.limit_um:g}", f"{over_mm:g}", f"{seconds:.1f}")
        console.print(table)
    console.print(note)


def _way(out: tuple[float, float, float]) -> str:
    """A direction: +x where it is one of the body's, else its three numbers."""
    for axis, name in enumerate("xyz"):
        if abs(out[axis]) > 1.0 - 1e-9:
            return f"{'+' if out[axis] > 0.0 else '-'}{name}"
    return ", ".join(f"{v + 0.0:.3f}" for v in out)
