"""`flatwright flycut`: what a cutter out of tram leaves, shown on a face cut in the model, and whether it pays."""

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sim.cli.demo import whole
from sim.cli.measure import number, size_mm

if TYPE_CHECKING:
    import numpy as np

    from sim.model.face import Face
    from sim.process.recut import FlyCutter

NAME = "flycut"
HELP = "Back to the machine: what a fly cutter or cup wheel out of tram leaves of a face, and whether it pays."
EDGE_BREAK_MM = 0.6
FILM_UM = 5.0  # heavy, as for a first print
PICTURE = "flycut.png"
CAUTIONS = (
    "Guards closed, hands clear of the cutter, work clamped and tried by hand before the spindle starts.",
    "Never measure, brush or reach in with the spindle turning.",
    "Follow local rules and the maker's sheets; nothing here replaces instruction at the machine.",
)
WHEEL_CAUTION = "A wheel: only sound, balanced and within its speed; eyes covered, dust drawn off."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options; what the cutter allows is checked in `run`."""
    parser._negative_number_matcher = re.compile(r"^-[\d.]")  # or --tram -0.10/150 would be taken for an option
    parser.add_argument("--tram", type=um_per_100mm, default=10.0, metavar="MM/MM", help="head out of tram along the "
                        "feed, as an indicator swung in a circle reads it: 0.10/150 is 0.10 mm over 150 mm (default "
                        "0.02/200); above 0: the leading edge is low")  # fmt: skip
    parser.add_argument("--across", type=um_per_100mm, default=0.0, metavar="MM/MM", help="the same across the feed "
                        "(default 0)")  # fmt: skip
    parser.add_argument("--sweep", type=number, metavar="MM", help="radius of the cutter's circle (60; --cup 50)")
    parser.add_argument("--stepover", type=number, metavar="MM", help="from pass to pass where one pass does not span "
                        "the face (60)")  # fmt: skip
    parser.add_argument("--size", type=size_mm, default=(160.0, 100.0), metavar="LxW", help="the face, along the feed "
                        "x across it: 160x100 (mm, the default), 6x4in")  # fmt: skip
    parser.add_argument("--error", type=number, default=15.0, metavar="UM", help="flatness of the milled face before "
                        "the cut, µm (default 15)")  # fmt: skip
    parser.add_argument("--depth", type=number, metavar="UM", help="deepest cut, µm (default 60, or the error + 45)")
    parser.add_argument("--cup", action="store_true", help="a cup wheel instead of a fly cutter")
    parser.add_argument("--seed", type=whole, default=1, metavar="N", help="which face, and which luck (default 1)")
    parser.add_argument("--out", metavar="DIR", help=f"folder of the picture {PICTURE} (default: here)")
    parser.add_argument("--force", action="store_true", help="overwrite the picture if it is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else; picture only "
                        "with --out")  # fmt: skip


def um_per_100mm(text: str) -> float:
    """A tilt such as 0.10/150 (mm over mm), or 0, in µm per 100 mm; for argparse."""
    number = r"(\d{1,6}(?:\.\d{0,9})?|\.\d{1,9})"
    parts = re.fullmatch(rf"\s*([+-]?){number}\s*/\s*{number}\s*(?:mm)?\s*", text, re.ASCII)
    if re.fullmatch(r"\s*0+(\.0*)?\s*", text, re.ASCII):
        return 0.0
    if not parts or float(parts[3]) == 0.0:
        raise argparse.ArgumentTypeError(f"must be mm over mm, such as 0.10/150, got {text[:40]!r}")
    return float(parts[1] + parts[2]) / float(parts[3]) * 1e5


def run(args: argparse.Namespace) -> int:
    """Cut, draw, print."""
    import json

    from sim.errors import BadParam, CannotWrite
    from sim.kernels.warm import warm
    from sim.process.recut import recut_face
    from sim.report.figures import refuse_existing
    from sim.shop.luck import luck

    cut, depth_um = asked(args)
    if args.seed < 0:
        raise BadParam(f"--seed must be 0 to {10**18 - 1}, got {args.seed}")
    picture = Path(args.out or ".") / PICTURE
    if args.out:
        refuse_existing(picture, args.force)
    warm()
    before = milled_face(args.size, args.error, luck(args.seed, "start"))
    after = before.copy()
    removed_mm3 = recut_face(after, cut, depth_um, luck(args.seed, "machine"))
    told, prints = answer(args, cut, depth_um, before, after), first_prints(before, after)
    told["warnings"] = tram_first(told, before, (cut, depth_um), args.seed) + told["warnings"]
    told |= {"removed_mm3": removed_mm3, "marked_before_pct": prints[0][1], "marked_after_pct": prints[1][1]}
    note = ""
    if args.out or not args.json:
        try:
            _draw(picture, args, before, after, (told, cut, [dark for dark, _ in prints]))
            note = f"picture: {picture}"
        except CannotWrite as error:
            if args.out:
                raise
            note = f"no new picture: {error}"
    if args.json:
        print(json.dumps(told, allow_nan=False))
    else:
        _print(told, args, cut, note.encode("utf-8", "replace").decode())
    return 0


def asked(args: argparse.Namespace) -> "tuple[FlyCutter, float]":
    """The cutter as the options have it, and the depth of cut, um.

    Raises
    ------
    BadParam
        An option outside what the cutter or the model allows, by its own name and unit.
    """
    from dataclasses import fields

    from sim.errors import BadParam
    from sim.model.start import Start
    from sim.params import check_param
    from sim.process.recut import DEEPEST_UM, CupWheel, FlyCutter

    make = CupWheel if args.cup else FlyCutter
    allowed = {one.name: one.metadata for kind in (Start, make) for one in fields(kind)}
    for name, tilt in (("along", args.tram), ("across", args.across)):
        most = allowed[f"tram_{name}_um_per_100mm"]["allowed"][1]
        if abs(tilt) > most:
            option = "--tram" if name == "along" else "--across"
            raise BadParam(f"{option} must be from -{most / 1000.0:g}/100 to {most / 1000.0:g}/100 (mm over mm), "
                           f"got {tilt / 1000.0:g}/100")  # fmt: skip
    for side, key in zip(args.size, ("length_mm", "width_mm"), strict=True):
        check_param("each side of --size", side, allowed[key])
    check_param("--error", args.error, {"allowed": (1.0, 500.0), "unit": "um"})
    options = {f"{name}_mm": value for name in ("sweep", "stepover") if (value := getattr(args, name)) is not None}
    for key, value in options.items():
        check_param(f"--{key.removesuffix('_mm')}", value, allowed[key])
    cut = make(tram_along_um_per_100mm=args.tram, tram_across_um_per_100mm=args.across, **options)
    if cut.stepover_mm > 2.0 * cut.sweep_mm:
        raise BadParam(f"--stepover must be at most twice --sweep, {2.0 * cut.sweep_mm:g} mm, or ribs stay between "
                       f"the passes, got {cut.stepover_mm:g}")  # fmt: skip
    depth_um = max(60.0, args.error + 45.0) if args.depth is None else args.depth
    check_param("--depth", depth_um, {"allowed": (cut.least_depth_um, DEEPEST_UM), "unit": "um"})
    return cut, depth_um


def tram_first(told: dict[str, Any], before: "Face", asked_for: "tuple[FlyCutter, float]", seed: int) -> list[str]:
    """Advice where tram would leave a clearly better face, or this cut makes it worse and tram would less so.

    None where the hollow alone says so already.
    """
    from dataclasses import replace

    from sim.measure.flatness import surface_flatness_um
    from sim.process.recut import STEP_UM, recut_face
    from sim.shop.luck import luck

    if any("tram the head first" in sentence for sentence in told["warnings"]):
        return []
    cut, depth_um = asked_for
    trammed = before.copy()
    recut_face(trammed, replace(cut, tram_along_um_per_100mm=0.0, tram_across_um_per_100mm=0.0), depth_um,
               luck(seed, "machine"))
    could_um, before_um, after_um = surface_flatness_um(trammed), told["flatness_before_um"], told["flatness_after_um"]
    lost_um = after_um - could_um
    if lost_um < STEP_UM and not (lost_um > 0.0 and after_um > before_um):
        return []
    return [f"Tram the head first: this cut leaves {after_um:.1f} µm where you had {before_um:.1f} µm, and one with "
            f"the head in tram would leave {could_um:.1f} µm."]  # fmt: skip


def milled_face(size: tuple[float, float], error_um: float, rng: "np.random.Generator") -> "Face":
    """A rough-milled face of this length and width, its edges broken, out of flat by this much.

    Raises
    ------
    BadParam
        A size that the model does not take.
    """
    from dataclasses import replace

    from sim.measure.flatness import surface_flatness_um
    from sim.model.start import Start
    from sim.process.machining import break_edges, machine_face

    face = machine_face(Start(length_mm=size[0], width_mm=size[1], edge_break_mm=0.0), rng)
    height = face.height_um.copy()
    break_edges(face, EDGE_BREAK_MM)
    height *= error_um / surface_flatness_um(face)
    face = replace(face, height_um=height, scored=face.iron.copy())
    break_edges(face, EDGE_BREAK_MM)
    return face


def first_prints(*faces: "Face") -> "list[tuple[np.ndarray, float]]":
    """Darkness of the first print of each face with a heavy film, and the share of it that is seen as blue, %."""
    from sim.model.film import Blue
    from sim.process.bluing import standard_print
    from sim.seat.compliant import Body, Compliance
    from sim.shop.rounds import print_picture

    made, blue = [], Blue()
    for face in faces:
        printed = face.copy()
        printed.blue_um = standard_print(face, FILM_UM, blue=blue, compliance=Compliance(), body=Body())
        seen = float((printed.blue_um >= blue.seen_um)[face.scored].mean())
        made.append((print_picture(printed, blue.opacity_um, 480), 100.0 * seen))
    return made


def answer(args: argparse.Namespace, cut: "FlyCutter", depth_um: float, before: "Face",
           after: "Face") -> dict[str, Any]:
    """What the tram leaves by closed form, the time, the warnings, and what was measured, units in the keys."""
    from sim.measure.flatness import bearing_flatness_um, surface_flatness_um
    from sim.process.recut import dish_um, pass_axes_mm, proportion, recut_hours, step_um, tilt_um

    width_mm = args.size[1]
    missed = (after.height_um == before.height_um)[before.scored].mean()
    return {
        "cutter": "cup wheel" if args.cup else "fly cutter", "dish_um": dish_um(cut, width_mm),
        "passes": len(pass_axes_mm(cut, width_mm)), "step_um": step_um(cut), "tilt_um": tilt_um(cut, width_mm),
        "depth_um": depth_um,
        "hours": recut_hours(args.size, cut, depth_um), "flatness_before_um": surface_flatness_um(before),
        "flatness_after_um": surface_flatness_um(after), "bearing_flatness_before_um": bearing_flatness_um(before),
        "bearing_flatness_after_um": bearing_flatness_um(after), "not_reached_pct": 100.0 * float(missed),
        "warnings": proportion(args.error, cut, width_mm),
    }  # fmt: skip


def _tilt(um_per_100mm_: float) -> str:
    return f"{um_per_100mm_:.3g} µm per 100 mm"


def _draw(path: Path, args: argparse.Namespace, before: "Face", after: "Face", more: tuple[Any, ...]) -> None:
    import numpy as np

    from sim.process.recut import swept_um
    from sim.report.figures import save_figure, typeset
    from sim.report.recut import recut_figure

    told, cut, dark = more
    width_mm, rows = before.size_mm[1], before.shape[0]
    y_mm = (np.arange(rows, dtype=np.float64) + 0.5) * before.pitch_mm - 0.5 * width_mm
    profile = swept_um(cut, y_mm, width_mm)[0]
    trams = f"{abs(args.tram):.3g} along" + (f", {typeset(f'{args.across:.3g}')} across" if args.across else "")
    title = (f"{told['cutter'].capitalize()} out of tram, µm per 100 mm: {trams}. Flatness "
             f"{told['flatness_before_um']:.1f} µm before, {told['flatness_after_um']:.1f} µm after")  # fmt: skip
    words = [f"First print {when}: {told[f'marked_{when}_pct']:.0f} % blue, {FILM_UM:g} µm film"
             for when in ("before", "after")]  # fmt: skip
    save_figure(recut_figure(before, after, list(zip(words, dark, strict=True)), profile, title), path, args.force)


def _print(told: dict[str, Any], args: argparse.Namespace, cut: "FlyCutter", note: str) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False, markup=False, soft_wrap=True)
    passes = f"{told['passes']} pass{'' if told['passes'] == 1 else 'es'}"
    console.print(f"{told['cutter'].capitalize()}, sweep {cut.sweep_mm:g} mm, {passes} over {args.size[0]:g} × "
                  f"{args.size[1]:g} mm, {told['depth_um']:g} µm deep: {told['hours']:.1f} h with set-up", style="bold")
    console.print(f"Tram along the feed {_tilt(args.tram)}: hollow of {told['dish_um']:.1f} µm, "
                  "(R − √(R² − W²/4)) · t/D over the strip of a pass")  # fmt: skip
    across = (f"a face {told['tilt_um']:.1f} µm out of parallel over its width, which no flatness shows"
              if told["passes"] == 1 else
              f"steps of up to {told['step_um']:.1f} µm between passes {cut.stepover_mm:g} mm apart")  # fmt: skip
    if args.across:
        console.print(f"Tram across the feed {_tilt(args.across)}: {across}")
    table = Table("cut in the model", box=box.SIMPLE)
    for heading in ("before", "after", ""):
        table.add_column(heading, justify="right" if heading else "left")
    for words, name, unit in (("flatness of every cell", "flatness_{}_um", "µm"),
                              ("bearing flatness", "bearing_flatness_{}_um", "µm"),
                              (f"blue in a first print, {FILM_UM:g} µm film", "marked_{}_pct", "%")):
        table.add_row(words, *(f"{told[name.format(when)]:.1f}" for when in ("before", "after")), unit)
    console.print(table)
    if told["not_reached_pct"] > 0.0:
        console.print(f"{told['not_reached_pct']:.0f} % of the face was not reached: the cut is not deep enough.")
    for sentence in told["warnings"]:
        console.print(sentence, style="bold")
    console.print(note)
    for sentence in (*([WHEEL_CAUTION] if args.cup else []), *CAUTIONS):
        console.print(sentence, style="dim")
