"""What is told in rows: a face's figures against what was wanted."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sim.target import Target
from sim.units import UM_PER_TENTH, counted

if TYPE_CHECKING:
    from rich.table import Table

LEAST_TOLD_UM = 0.0005  # what is less is printed as nought
DATUMS = {
    "contact_datum": "contact datum",
    "contact_datum_other_seat": "that of its other seat",
    "least_squares_datum": "least-squares datum",
}
PER_IN2 = "per\N{NO-BREAK SPACE}in²"
# name in the totals, words, unit, digits, whether the target's limit is the most (None: it has none), meaning
FIGURES: tuple[tuple[str, str, str, int, bool | None, str], ...] = (
    ("bearing_flatness_um", "bearing flatness", "µm", 2, True,
     "of the highest point in each field of about 10 mm: the closest two parallel planes that hold them all"),
    ("spots_mean", "spots, mean", PER_IN2, 1, False, "over every place where a square inch can lie"),
    ("spots_lowest", "spots, lowest square", PER_IN2, 1, False, "in the poorest of these places"),
    ("bearing_pct", "bearing, share of the face", "%", 1, False, "marked by the standard print"),
    ("bearing_tenths_pct", "bearing by tenths", "%", 1, None,
     "a sheet of 200 squares of 2.5 mm, each judged to a tenth; the mean of the sheets that cover the face; grade 0 "
     "from 20, 1 from 15, 2 from 10"),
    ("surface_flatness_um", "flatness of every cell", "µm", 1, None, "the same two planes, around the hollows too"),
    ("pocket_depth_um", "pocket depth", "µm", 1, None,
     "half of the face lies deeper than this below the high spots around it; 2 to 6 is usual"),
    ("spots_cv", "unevenness, σ ÷ mean", "", 2, None, "scatter of the counts from place to place; up to 0.25 is even"),
    ("spots_mean_half_mm2", "spots from 0.5 mm² up, mean", PER_IN2, 1, None, "counted with smaller marks too"),
    ("hinge_high_share", "hinge, pushed at the right", "of length", 3, None,
     "where it turns from the far end: nearer to the middle is crowned, nearer to the far end hollow"),
    ("hinge_low_share", "hinge, pushed at the left", "of length", 3, None, "the same from the other end"),
    ("hinge_even_share", "hinge of an even face", "of length", 3, None, "of this outline, to compare with"),
    ("removed_mm3", "iron taken off", "mm³", 0, None, "by blade, stone and file"),
    ("strokes", "strokes", "", 0, None, "of the scraper, all rounds"),
    ("strokes_off_marks_pct", "strokes off the marks", "%", 1, None, "cut mostly where no blue was to be seen"),
    ("shop_hours", "shop time", "h", 2, None, "with rolling, printing, stoning and wiping"),
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One figure: words, unit, what came out, what was wanted, whether met (None: no limit), meaning."""

    name: str
    unit: str
    got: str
    wanted: str
    met: bool | None
    meaning: str


def scorecard_rows(totals: Mapping[str, float], target: Target) -> list[Row]:
    """Every known figure in `totals`, those with a limit first; figures that are not there are left out."""
    rows = []
    for key, name, unit, digits, held, meaning in FIGURES:
        if key not in totals:
            continue
        value = float(totals[key])
        if held is None:
            rows.append(Row(name, unit, number(value, digits), "", None, meaning))
            continue
        limit = float(getattr(target, key))
        digits = digits_of(key, value, digits)
        met = value <= limit if held else value >= limit
        wanted = f"{'≤' if held else '≥'} {limit:g}"
        rows.append(Row(name, unit, _told(value, limit, digits), wanted, met, meaning))
    return rows


def digits_of(key: str, value: float, digits: int) -> int:
    """Digits of a figure; the lowest count has none, but where a hole or slot parts it."""
    return 0 if key == "spots_lowest" and float(value).is_integer() else digits


def number(value: float, digits: int) -> str:
    """A figure as it is read: an en dash where there is none, and nought without a sign."""
    return "–" if math.isnan(value) else f"{value:z,.{digits}f}"


def _told(value: float, limit: float, digits: int) -> str:
    """The value with as many digits as it takes to see on which side of the limit it lies."""
    while digits < 9 and value != limit and (float(f"{value:.{digits}f}") - limit) * (value - limit) <= 0.0:
        digits += 1
    return number(value, digits)


def verdict(rows: Sequence[Row], rounds: int, met: tuple[int, float] | None) -> list[str]:
    """Sentences that say whether and when the target was met, and what is missing at the end; the first is the answer.

    Parameters
    ----------
    rows : of `scorecard_rows`, at the end
    rounds : int
        Rounds made.
    met : (round, hours) or None
        When every limit was met for the first time.
    """
    short = [f"{row.name} {f'{row.got} {row.unit}'.strip()}, wanted {row.wanted}" for row in rows if row.met is False]
    missing = "; ".join(short)
    if met is None:
        told = [f"Not met in {counted(rounds, 'round')}."]
        return told + ([f"Missing: {missing}."] if short else [])
    told = [f"Met in round {met[0]} after {met[1]:.1f} h."]
    if rounds > met[0]:
        now = f"falls short: {missing}." if short else "is still met."
        told.append(f"Carried on to round {rounds}, where it {now}")
    return told


def scorecard_table(rows: Sequence[Row]) -> "Table":
    """The scorecard for a terminal."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("figure")
    table.add_column("got", justify="right")
    table.add_column("unit", style="dim")
    table.add_column("wanted")
    table.add_column("met")
    for row in rows:
        met = {True: Text("yes", "green"), False: Text("no", "bold red"), None: Text("")}[row.met]
        style = "dim" if row.met is None else ""
        table.add_row(Text(row.name), Text(row.got, style), Text(row.unit), Text(row.wanted, style), met)
    return table


def orientation_rows(told: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """A face against its datum, of `flatwright measure --datum`: words, um and tenths, or degrees and arc seconds."""

    def row(name: str, value_um: float | None, sign: str = "") -> tuple[str, str, str]:
        if value_um is None:
            return name, "–", "–"
        return name, f"{value_um:{sign}z.3f}", f"{value_um / UM_PER_TENTH:{sign}z.3f}"

    zones = told.get("parallelism_um") or told["perpendicularity_um"]
    rows = [row(words, zones[key]) for key, words in DATUMS.items() if key in zones]
    if "lean_um_per_100mm" in told:
        rows.append(row("lean in 100 mm", told["lean_um_per_100mm"], "+"))
        rows.append(("angle from square", f"{told['angle_deg']:.4f}°", f"{told['angle_deg'] * 3600.0:.1f}″"))
        return rows
    rows += [row(f"wedge along {axis} in 100 mm", wedge, "+") for axis, wedge in told["wedge_um_per_100mm"].items()]
    return [*rows, row("twist", told["twist_um"], "+")]


def thick_end(told: Mapping[str, Any]) -> str:
    """Which way the thick end of a wedge lies, or the side leans, in words; of the first seat where the datum rocks."""
    seat = "the contact datum in its first seat" if told["datum"]["rocks"] else "the contact datum"
    if "lean_um_per_100mm" in told:
        lean = told["lean_um_per_100mm"]
        if abs(lean) < LEAST_TOLD_UM:
            return f"The side stands square to {seat}."
        toward = f"{'+' if lean > 0.0 else '-'}{told['lean_along']}"
        return f"Going up, the side leans toward {toward}, {abs(lean):.3f} µm in 100 mm, seen from {seat}."
    wedges = told["wedge_um_per_100mm"].items()
    ends = [f"{'high' if wedge > 0.0 else 'low'} {axis}" for axis, wedge in wedges if abs(wedge) >= LEAST_TOLD_UM]
    if not ends:
        return f"Neither end is thick: the face does not rise away from {seat}."
    return f"The thick end lies toward {' and '.join(ends)}: there the face is farther from {seat}."


@dataclass(frozen=True)
class ToleranceRow:
    """A tolerance in words: what is asked, limit, what came out, the last reading, how the face lies, and its state.

    both_ways: the reading was taken twice, the part turned between.
    """

    what: str
    limit: str
    contact: str
    tenths: str
    least_squares: str
    read: str
    lies: str
    state: str
    met: bool
    in_doubt: bool
    both_ways: bool


def tolerance_rows(done: Sequence[Any]) -> list[ToleranceRow]:
    """Rows of tolerances that were worked, each as `sim.report.part_page.ToleranceDone`."""
    rows = []
    for one in done:
        asked, found = one.tolerance, one.found
        met = found.contact_um <= asked.limit_um
        read = "–" if one.read_um is None else f"{one.read_um:g}"
        state = "in doubt: read it again" if one.in_doubt else "✓ met" if met else "✗ not met"
        rows.append(ToleranceRow(
            f"{asked.kind} of {asked.face} to {asked.datum}", f"{asked.limit_um:g}", f"{found.contact_um:.2f}",
            f"{found.contact_um / UM_PER_TENTH:.2f}", f"{found.least_squares_um:.2f}",
            read, _lies(found), state, met, one.in_doubt, one.both_ways))  # fmt: skip
    return rows


def _lies(found: Any) -> str:
    """How a face lies to its datum, in words."""
    if hasattr(found, "angle_deg"):
        seconds = found.angle_deg * 3600.0
        return (f"leans {found.lean_um_per_100mm:+z.1f} µm in 100 mm of height: {found.angle_deg:.5f}° or "
                f"{seconds:.1f}″ from square")  # fmt: skip
    twist = "" if found.twist_um is None else f", twist {found.twist_um:+z.1f} µm"
    return (f"wedge {found.wedge_x_um_per_100mm:+z.1f} µm in 100 mm along x and {found.wedge_y_um_per_100mm:+z.1f} "
            f"along y of the datum{twist}")  # fmt: skip


def tolerance_table(rows: Sequence[ToleranceRow]) -> "Table":
    """Tolerances for a terminal."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("tolerance, µm", no_wrap=True)
    for heading in ("limit", "contact", "least sq.", "read", "ways"):
        table.add_column(heading, justify="right")
    table.add_column("state")
    for row in rows:
        state = Text(row.state, "green" if row.met and not row.in_doubt else "bold red")
        table.add_row(Text(row.what), row.limit, row.contact, row.least_squares, row.read,
                      "2" if row.both_ways else "1" if row.read != "–" else "", state)
    return table


@dataclass(frozen=True)
class FaceRow:
    """A face in figures (rounds, strokes, hours, bearing flatness, spots mean and lowest, bearing) and whether done."""

    name: str
    numbers: tuple[str, ...]
    met: bool


def face_rows(faces: Mapping[str, Any]) -> list[FaceRow]:
    """Rows of faces that were worked, each as `sim.report.page.DemoReport`, by name."""
    rows = []
    for name, demo in faces.items():
        t = demo.totals
        lowest = number(t["spots_lowest"], digits_of("spots_lowest", t["spots_lowest"], 1))
        rows.append(FaceRow(name, (
            str(len(demo.rounds)), f"{t['strokes']:,.0f}", f"{t['shop_hours']:.1f}",
            number(t["bearing_flatness_um"], 2), number(t["spots_mean"], 1), lowest, number(t["bearing_pct"], 1),
        ), demo.met_round is not None))  # fmt: skip
    return rows


def faces_table(faces: Mapping[str, Any]) -> "Table":
    """Faces for a terminal; spots are per square inch."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("face", no_wrap=True)
    for heading in ("rounds", "strokes", "hours", "flat, µm", "spots", "lowest", "bears, %"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("met", no_wrap=True)
    for row in face_rows(faces):
        met = Text("yes", "green") if row.met else Text("no", "bold red")
        table.add_row(Text(row.name), *row.numbers, met)
    return table
