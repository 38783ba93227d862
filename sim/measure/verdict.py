"""Is it done: every figure of a face in one place, held against a target."""

from dataclasses import dataclass

from sim.measure.flatness import bearing_flatness_um, surface_flatness_um
from sim.measure.spots import bearing_sheets, pocket_depth_um, spots
from sim.model.face import Face
from sim.model.film import Blue
from sim.model.marks import Marks
from sim.params import param, tool
from sim.process.bluing import standard_print
from sim.seat.compliant import Body, Compliance, compliant_seat, pressed_cells, weight_and_hands
from sim.seat.hinge import Hinge, hinge
from sim.target import Target


@tool
class StandardPrint:
    """The print that scores: computed, never made."""

    film_um: float = param(1.5, "um", (0.1, 20.0), "even film", "from memory: thin film 0.5 to 1.5 um")
    way_mm: float = param(2.0, "mm", (0.0, 100.0), "a gentle rub", "common practice, no source")


@dataclass(frozen=True)
class Score:
    """Figures of a face that a round is judged by; `spots_cv` is NaN where there are no spots."""

    bearing_flatness_um: float
    spots_mean: float
    spots_lowest: float
    spots_cv: float
    bearing_pct: float

    def meets(self, target: Target) -> bool:
        """True when every limit is met."""
        return (self.bearing_flatness_um <= target.bearing_flatness_um and self.spots_mean >= target.spots_mean
                and self.spots_lowest >= target.spots_lowest and self.bearing_pct >= target.bearing_pct)


def standard_marks(face: Face, body: Body | None = None, blue: Blue | None = None, compliance: Compliance | None = None,
                   made: StandardPrint | None = None) -> Marks:
    """Marks of the standard print over the scored iron."""
    blue, made = blue or Blue(), made or StandardPrint()
    printed = standard_print(face, made.film_um, blue=blue, compliance=compliance or Compliance(), body=body or Body(),
                             way_mm=made.way_mm)
    return Marks((printed >= blue.seen_um) & face.scored, face.scored, face.pitch_mm)


def score(face: Face, target: Target | None = None, body: Body | None = None) -> Score:
    """The figures that decide."""
    return _scored(face, standard_marks(face, body), target or Target())


def _scored(face: Face, marks: Marks, target: Target) -> Score:
    counted = spots(marks, target.spot_area_mm2)
    return Score(bearing_flatness_um(face), counted.mean, counted.lowest, counted.cv, counted.bearing_pct)


def scorecard(face: Face, target: Target | None = None, body: Body | None = None) -> dict[str, float]:
    """Every figure of a finished face, with units in the names.

    Raises
    ------
    BadParam
        A face too small for the squares of a sheet, as `bearing_sheets`.
    Refused
        As `compliant_seat`.
    """
    marks = standard_marks(face, body)
    found = _scored(face, marks, target or Target())
    fine = spots(marks, 0.5)
    turned = _hinge(face, body or Body())
    return {
        "bearing_flatness_um": found.bearing_flatness_um, "surface_flatness_um": surface_flatness_um(face),
        "spots_mean": found.spots_mean, "spots_lowest": found.spots_lowest, "spots_cv": found.spots_cv,
        "spots_mean_half_mm2": fine.mean, "bearing_pct": found.bearing_pct, "pocket_depth_um": pocket_depth_um(face),
        "bearing_tenths_pct": float(bearing_sheets(marks).mean()),
        "hinge_high_share": turned.pivots[0].share, "hinge_low_share": turned.pivots[1].share,
        "hinge_even_share": turned.even[0].share,
    }


def _hinge(face: Face, body: Body) -> Hinge:
    """The hinge test on what the face stands on by its own weight."""
    top = face.height_um + face.burr_um
    pose = compliant_seat(top, face.pitch_mm, weight_and_hands(face, body))
    return hinge(face.iron, face.pitch_mm, *pressed_cells(top, pose, face.pitch_mm, Compliance().c_um))


