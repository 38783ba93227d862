"""The report of a whole part: how its faces lie to each other, and each face as a report of one face tells it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from pathlib import Path

from sim.measure.orient import Parallelism, Perpendicularity
from sim.model.part import PartShape, Tolerance
from sim.report.page import (
    DemoReport,
    curves_html,
    faces_html,
    how_html,
    scorecard_html,
    strip_html,
    told_verdict,
    verdict_html,
    whole_page,
    write_page,
)
from sim.report.tables import FaceRow, ToleranceRow, face_rows, tolerance_rows
from sim.units import counted

NOTE = (
    "The contact datum is the plane on which the datum really stands under the weight of the part: it touches the "
    "three highest places around the centre of gravity. The least-squares datum is the plane through the middle of "
    "all its high places. The limit is held against the contact datum. Faces are taken by the highest point in each "
    "field of about 10 mm, as a gauge block under an indicator feels them."
)
ORDER = (
    "The datum is finished first: whoever touches it later tilts the part, and every face that was measured from it "
    "moves. Its tolerances are then in doubt until they are read again."
)


@dataclass(frozen=True)
class ToleranceDone:
    """One line of the drawing: what is asked, the truth at the end, the last reading, and whether one is due again.

    both_ways: the reading was taken twice, the part turned between, and is free of the stand's or square's own error.
    """

    tolerance: Tolerance
    found: Parallelism | Perpendicularity
    read_um: float | None
    in_doubt: bool
    both_ways: bool = False

    @property
    def met(self) -> bool:
        """True within the limit, to the contact datum."""
        return self.found.contact_um <= self.tolerance.limit_um


@dataclass(frozen=True)
class PartReport:
    """Everything that the report of a part tells.

    Attributes
    ----------
    shape : PartShape
    faces : mapping of name to DemoReport
        In the order of the work; rounds and hours of each count from its first.
    tolerances : sequence of ToleranceDone
    shop_hours : float
        Of the whole part.
    """

    title: str
    seed: int
    hand: str
    shape: PartShape
    faces: Mapping[str, DemoReport]
    tolerances: Sequence[ToleranceDone]
    shop_hours: float

    @property
    def met(self) -> bool:
        """True when every face met its target, and every tolerance is met at the end."""
        return all(face.met_round is not None for face in self.faces.values()) and all(t.met for t in self.tolerances)


def write_part_report(path: Path, report: PartReport, force: bool = False) -> None:
    """Write the report of a part; as `sim.report.page.write_page`."""
    write_page(path, partial(part_page, report), force)


def part_page(report: PartReport) -> str:
    """The report as one HTML text."""
    tolerances, faces = tolerance_rows(report.tolerances), face_rows(report.faces)
    body = [
        f"<div class='two'><header>{_heading(report)}</header>"
        f"<figure class='card'>{_body(report.shape)}</figure></div>",
        verdict_html(*part_verdict(report), report.met),
    ]
    if tolerances:
        body.append(f"<section><h2>How the faces lie to each other</h2>{_tolerances(tolerances)}</section>")
    body.append(f"<section><h2>The faces</h2>{_faces(faces)}</section>")
    for name, demo in report.faces.items():
        answer, *more = told_verdict(demo)
        title = escape(name[:1].upper() + name[1:])
        body += [
            f"<section><h2 class='face'>{title}</h2>{verdict_html(answer, ' '.join(more), demo.met_round is not None)}"
            f"<div class='two'><div><h3>Scorecard</h3>{scorecard_html(demo)}</div>"
            f"<div><h3>How it was done</h3>{how_html(demo)}</div></div>"
            f"<h3>The prints</h3>{strip_html(demo)}<h3>Round by round</h3>{curves_html(demo)}"
            f"<h3>Before and after</h3>{faces_html(demo)}</section>"
        ]
    return whole_page(report.title, body, report.seed)


def _heading(report: PartReport) -> str:
    count = len(report.faces)
    sizes = "; ".join(
        f"{name} {one.start.length_mm:g} × {one.start.width_mm:g} mm, {one.start.kind}"
        for name, one in ((face.name, face) for face in report.shape.faces))  # fmt: skip
    return (
        f"<p class='kicker'>flatwright · {escape(report.hand)} hand · seed {report.seed}</p>"
        f"<h1>{escape(report.title)}</h1>"
        f"<p class='lead'>A part of {report.shape.mass_kg:g} kg with {counted(count, 'face')} to be scraped by "
        f"hand, as they came from the machine: {escape(sizes)}.</p>"
    )


def _body(shape: PartShape) -> str:
    from sim.report.figures import themed_svg
    from sim.report.part import draw_body

    names = ", ".join(f"{face.name} {face.start.length_mm:g} × {face.start.width_mm:g} mm" for face in shape.faces)
    return themed_svg(partial(draw_body, part=shape, told=False), (3.6, 3.4), f"How the faces lie in the part: {names}")


def part_verdict(report: PartReport) -> tuple[str, str]:
    """Whether the part is done, and what is missing or in doubt; two sentences."""
    hours = f"{report.shop_hours:.1f} h on the shop clock"
    doubtful = [f"{t.tolerance.kind} of {t.tolerance.face}" for t in report.tolerances if t.in_doubt]
    if report.met:
        doubt = f" In doubt, to be read again: {', '.join(doubtful)}." if doubtful else ""
        return "Every face and every tolerance is met.", f"{hours}.{doubt}"
    short = [name for name, face in report.faces.items() if face.met_round is None]
    short += [f"{t.tolerance.kind} of {t.tolerance.face}" for t in report.tolerances if not t.met]
    return "Not everything is met.", f"Missing: {', '.join(short)}; {hours}."


def _tolerances(rows: Sequence[ToleranceRow]) -> str:
    heads = ("what", "limit, µm", "to the contact datum, µm", "tenths", "to least squares, µm", "last reading, µm")
    head = "".join(f"<th scope='col'{' class=n' if n else ''}>{title}</th>" for n, title in enumerate(heads))
    lines = []
    for row in rows:
        state = f"<td class='{'yes' if row.met and not row.in_doubt else 'no'}'>{escape(row.state)}</td>"
        read = f"{row.read}{', both ways' * row.both_ways}"
        numbers = (row.limit, row.contact, row.tenths, row.least_squares, read)
        cells = "".join(f"<td class='n'>{value}</td>" for value in numbers)
        lines.append(f"<tr><th scope='row'>{escape(row.what)}<small class='meaning'>{escape(row.lies)}</small></th>"
                     f"{cells}{state}</tr>")
    return (
        f"<table><thead><tr>{head}<th scope='col'>state</th></tr></thead><tbody>{''.join(lines)}</tbody></table>"
        f"<p class='note'>{NOTE}</p><p class='note'>{ORDER}</p>"
    )


def _faces(rows: Sequence[FaceRow]) -> str:
    heads = ("face", "rounds", "strokes", "hours", "bearing flatness, µm", "spots per in²", "lowest", "bearing, %")
    head = "".join(f"<th scope='col'{' class=n' if n else ''}>{title}</th>" for n, title in enumerate(heads))
    lines = []
    for row in rows:
        cells = "".join(f"<td class='n'>{value}</td>" for value in row.numbers)
        state = f"<td class='{'yes' if row.met else 'no'}'>{'✓ met' if row.met else '✗ not met'}</td>"
        lines.append(f"<tr><th scope='row'>{escape(row.name)}</th>{cells}{state}</tr>")
    return f"<table><thead><tr>{head}<th scope='col'>target</th></tr></thead><tbody>{''.join(lines)}</tbody></table>"
