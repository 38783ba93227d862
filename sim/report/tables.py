"""What is told in rows: a face's figures against what was wanted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sim.target import Target

if TYPE_CHECKING:
    from rich.table import Table

PER_IN2 = "per\N{NO-BREAK SPACE}in²"
# name in the totals, words, unit, digits, what holds it: a limit of the target (True = at most) or a shop rule
FIGURES: tuple[tuple[str, str, str, int, bool | str], ...] = (
    ("bearing_flatness_um", "bearing flatness", "µm", 2, True),
    ("spots_mean", "spots, mean", PER_IN2, 1, False),
    ("spots_lowest", "spots, lowest square", PER_IN2, 1, False),
    ("bearing_pct", "bearing, share of the face", "%", 1, False),
    ("surface_flatness_um", "flatness of every cell", "µm", 1, ""),
    ("pocket_depth_um", "pocket depth", "µm", 1, "2 to 6 usual"),
    ("spots_cv", "unevenness, σ ÷ mean", "", 2, "≤ 0.25 is even"),
    ("spots_mean_half_mm2", "spots from 0.5 mm² up, mean", PER_IN2, 1, ""),
    ("removed_mm3", "iron taken off", "mm³", 0, ""),
    ("strokes", "strokes", "", 0, ""),
    ("strokes_off_marks_pct", "strokes off the marks", "%", 1, ""),
    ("shop_hours", "shop time", "h", 2, ""),
)


@dataclass(frozen=True)
class Row:
    """One figure: words, unit, what came out, what was wanted (or a shop rule), whether met (None: no limit)."""

    name: str
    unit: str
    got: str
    wanted: str
    met: bool | None


def scorecard_rows(totals: Mapping[str, float], target: Target) -> list[Row]:
    """Every known figure in `totals`, those with a limit first; figures that are not there are left out."""
    rows = []
    for key, name, unit, digits, held in FIGURES:
        if key not in totals:
            continue
        value = float(totals[key])
        if isinstance(held, str):
            rows.append(Row(name, unit, f"{value:,.{digits}f}", held, None))
            continue
        limit = float(getattr(target, key))
        met = value <= limit if held else value >= limit
        rows.append(Row(name, unit, _told(value, limit, digits), f"{'≤' if held else '≥'} {limit:g}", met))
    return rows


def _told(value: float, limit: float, digits: int) -> str:
    """The value with as many digits as it takes to see on which side of the limit it lies."""
    while digits < 9 and value != limit and (float(f"{value:.{digits}f}") - limit) * (value - limit) <= 0.0:
        digits += 1
    return f"{value:,.{digits}f}"


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
        told = [f"Not met in {rounds} round{'' if rounds == 1 else 's'}."]
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
