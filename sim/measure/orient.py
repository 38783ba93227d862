"""One face against another: parallelism, wedge, twist, perpendicularity; reversal and what an angle is worth."""

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from sim.errors import BadParam
from sim.measure.flatness import bearing_cells, plane_axes
from sim.model.heights import Heights
from sim.model.part import Part, Tolerance
from sim.seat.rigid import refuse_collinear, rigid_seat
from sim.units import UM_PER_MM

Vector = NDArray[np.floating]
Read = TypeVar("Read", float, NDArray[np.float64])
PER_MM = 100.0  # wedge and lean are told over this length
STEEPEST = math.cos(math.radians(45.0))  # beyond it a face is no longer what it is taken for
THINNEST = 1e-13  # a width below this share of the length is rounding


@dataclass(frozen=True)
class Datum:
    """A face that a part stands on: unit normals, away from the plate, of the planes that stand for it.

    Attributes
    ----------
    contact : float (3,)
        Of the plane that touches the points from below under the load.
    other : float (3,) or None
        If the part rocks: of the contact plane at the other end of the rocking.
    least_squares : float (3,)
    """

    contact: Vector
    other: Vector | None
    least_squares: Vector

    @property
    def rocks(self) -> bool:
        """The load is over an edge or a corner of the hull of the points."""
        return self.other is not None


@dataclass(frozen=True)
class Parallelism:
    """A face against a datum opposite to it.

    Attributes
    ----------
    contact_um, least_squares_um : float
        Range of the face along the normal of the contact datum, and of the least-squares datum.
    wedge_x_um_per_100mm, wedge_y_um_per_100mm : float
        Slope of the face's least-squares plane minus that of the contact datum; positive where the face rises away
        from the datum toward +x, +y: there lies the thick end.
    twist_um : float or None
        Two opposite corners above the other two: positive if (low x, low y) and (high x, high y) are the high ones.
        None where the points cannot tell, as three or a cross of two lines.
    rocks : bool
        The datum rocks under the load; contact and wedge are those of one seat.
    other_contact_um : float or None
        If it rocks: to the contact datum of the other seat.
    """

    contact_um: float
    least_squares_um: float
    wedge_x_um_per_100mm: float
    wedge_y_um_per_100mm: float
    twist_um: float | None
    rocks: bool
    other_contact_um: float | None


@dataclass(frozen=True)
class Perpendicularity:
    """A side face against a datum that it should be square to.

    Attributes
    ----------
    contact_um, least_squares_um : float
        Width of the narrowest zone between two parallel planes, square to the contact or least-squares datum, that
        holds every point of the side. A turn about the datum's normal is free and costs nothing.
    angle_deg : float, >= 0
        How far the side's least-squares plane is from square to the contact datum.
    lean_um_per_100mm : float
        The same with a sign, as a slope: positive where the side's x (its y, if its normal is nearer to y) grows with
        height above the datum.
    lean_along : "x" or "y"
        Which of the two.
    rocks, other_contact_um
        As in `Parallelism`.
    """

    contact_um: float
    least_squares_um: float
    angle_deg: float
    lean_um_per_100mm: float
    lean_along: str
    rocks: bool
    other_contact_um: float | None


def datum_of(heights: Heights, load_at: tuple[float, float] | None = None) -> Datum:
    """Contact plane and least-squares plane of a face that a part stands on.

    Parameters
    ----------
    heights : Heights
        z up; the iron lies above its points.
    load_at : (x_mm, y_mm), optional
        Where the weight acts; the mean of the points by default.

    Raises
    ------
    BadParam
        As `sim.seat.rigid.rigid_seat`; or if the face is steeper than 45 degrees.
    """
    load = load_at or (float(heights.x_mm.mean()), float(heights.y_mm.mean()))
    seat = rigid_seat(heights.x_mm, heights.y_mm, -heights.z_um, load)
    least_squares = plane_axes(heights.x_mm, heights.y_mm, heights.z_um)[2][:, 2]
    if least_squares[2] < STEEPEST:
        raise BadParam(f"a datum must lie within 45 degrees of level, z up, got {_degrees(least_squares[2]):.4g}")
    contact, *other = (
        _upward([-slope for slope in one.slopes_um_per_mm]) for one in (seat, seat.other_seat) if one is not None
    )
    return Datum(contact, other[0] if other else None, least_squares)


def parallelism(datum: Heights, face: Heights, load_at: tuple[float, float] | None = None) -> Parallelism:
    """How parallel a face is to the datum, both given in one frame with z up.

    Parameters
    ----------
    datum, face : Heights
        The iron lies above the points of the datum, so its contact plane touches them from below.
    load_at : (x_mm, y_mm), optional
        Where the weight acts; over the mean of the datum's points by default.

    Raises
    ------
    BadParam
        As `datum_of`; or if the face's points lie on one line, or it is 45 degrees or more from parallel.

    References
    ----------
    Shakarji and Srinivasan, JCISE 15 (2015) 041008, for the contact datum.
    """
    base = datum_of(datum, load_at)
    points, normal = _plane(face)
    along = float(normal @ base.contact)
    if along < STEEPEST:
        got = _degrees(along)
        raise BadParam(f"the face must be within 45 degrees of parallel to its datum, got {got:.4g}: it is a side")
    wedge_x, wedge_y = ((_slopes(normal) - _slopes(base.contact)) * PER_MM * UM_PER_MM).tolist()
    other = None if base.other is None else _range_um(points, base.other)
    return Parallelism(_range_um(points, base.contact), _range_um(points, base.least_squares), wedge_x, wedge_y,
                       _twist_um(points), base.rocks, other)


def perpendicularity(datum: Heights, side: Heights, load_at: tuple[float, float] | None = None) -> Perpendicularity:
    """How square a side face is to the datum, both given in one frame with z up; arguments as in `parallelism`.

    Raises
    ------
    BadParam
        As `datum_of`; or if the side's points lie on one line, or it is 45 degrees or more from square.
    """
    base = datum_of(datum, load_at)
    points, normal = _plane(side)
    nearer = int(np.abs(normal[:2]).argmax())
    normal = normal * math.copysign(1.0, normal[nearer])
    sine = float(normal @ base.contact)
    if abs(sine) > STEEPEST:
        got = math.degrees(math.asin(min(1.0, abs(sine))))
        raise BadParam(f"a side must be within 45 degrees of square to its datum, got {got:.4g}")
    cosine = float(np.linalg.norm(np.cross(normal, base.contact)))
    return Perpendicularity(
        _zone_um(points, base.contact),
        _zone_um(points, base.least_squares),
        math.degrees(math.atan2(abs(sine), cosine)),
        0.0 - sine / cosine * PER_MM * UM_PER_MM,
        "xy"[nearer],
        base.rocks,
        None if base.other is None else _zone_um(points, base.other),
    )


def side_on(side: Heights, datum: Heights) -> Heights:
    """A side face as one sees it from outside: x to the right along it, y up, z out of it from its middle.

    Notes
    -----
    Out is away from the middle of the datum. The points are turned as a whole, so flatness is what it was.

    Raises
    ------
    BadParam
        If the points lie on one line, or on a level plane.
    """
    points, out = _plane(side)
    upright = math.hypot(out[0], out[1])
    if upright < 1e-6:
        raise BadParam("a side must stand upright, got a level face")
    middle = np.array([side.x_mm.mean(), side.y_mm.mean(), side.z_um.mean() / UM_PER_MM])
    if out[:2] @ (middle[:2] - [datum.x_mm.mean(), datum.y_mm.mean()]) < 0.0:
        out = -out
    right = np.array([-out[1], out[0], 0.0]) / upright
    up = np.cross(out, right)
    return Heights(points @ right + middle @ right, points @ up + middle @ up, points @ out * UM_PER_MM)


def least_width_um(x_mm: Vector, y_mm: Vector) -> float:
    """Distance of the two nearest parallel lines that hold every point of a plane, um; arrays (n,).

    Notes
    -----
    One of the two lines lies along an edge of the convex hull: each edge is tried against the vertex farthest from
    it, which is where the hull has turned by half a circle. Before, the points are turned to their own axes and
    stretched to a square: this leaves the hull what it is, and a zone of micrometres on 100 mm is not lost.
    """
    points = np.column_stack([x_mm - x_mm.mean(), y_mm - y_mm.mean()])
    points = points @ np.linalg.svd(np.linalg.qr(points, mode="r"))[2].T
    size = np.ptp(points, axis=0)
    if size[1] <= THINNEST * size[0]:
        return float(size[1]) * UM_PER_MM
    square = points / size
    rim = square[ConvexHull(square).vertices]
    edge = np.roll(rim, -1, axis=0) - rim
    turned = np.unwrap(np.arctan2(edge[:, 1], edge[:, 0]))
    far = rim[np.searchsorted(np.concatenate([turned, turned + 2.0 * np.pi]), turned + np.pi) % len(rim)] - rim
    doubled_area = (edge[:, 0] * far[:, 1] - edge[:, 1] * far[:, 0]) * size[0] * size[1]
    return float((doubled_area / np.hypot(*(edge * size).T)).min()) * UM_PER_MM


def angle_of(um: float, over_mm: float) -> tuple[float, float]:
    """Angle whose rise over a length is this, as degrees and as arc seconds: 5 um in 100 mm are 0.00286 and 10.3.

    Raises
    ------
    BadParam
        If the length is not above 0.
    """
    degrees = math.degrees(math.atan(um / UM_PER_MM / _above_0("over_mm", over_mm)))
    return degrees, degrees * 3600.0


def reversal(reading_um: Read, turned_um: Read) -> tuple[Read, Read]:
    """Part and stand told apart by turning the part end for end between two readings, um: floats or arrays of a shape.

    Notes
    -----
    The part's own error changes its sign with the turn, the stand's does not: half the difference of the readings
    is the part, half their sum the stand.
    """
    return (reading_um - turned_um) / 2.0, (reading_um + turned_um) / 2.0


def body_points(part: Part, name: str, which: str = "bearing") -> Heights:
    """Points of a face in the body's frame: the truth, burrs left out.

    Parameters
    ----------
    which : "bearing" or "surface"
        The bearing envelope (`sim.measure.flatness.bearing_cells`), or every scored cell.

    Raises
    ------
    BadParam
        For another `which`.
    KeyError
        For a name that no face has.
    """
    if which not in ("bearing", "surface"):
        raise BadParam(f"which must be bearing or surface, got {which!r}")
    face = part.faces[name]
    row, column = bearing_cells(face) if which == "bearing" else np.nonzero(face.scored)
    across_mm, along_mm = ((index.astype(np.float64) + 0.5) * face.pitch_mm for index in (row, column))
    x_mm, y_mm, z_mm = part.shape.face(name).frame.body_mm(along_mm, across_mm, face.height_um[row, column]).T
    return Heights(x_mm, y_mm, z_mm * UM_PER_MM)


def part_orientation(part: Part, tolerance: Tolerance) -> Parallelism | Perpendicularity:
    """The truth about a tolerance of a part that stands on the datum under its own weight.

    Notes
    -----
    Both faces by their bearing envelopes, which is what an indicator on a block feels: pockets and burrs left out.
    They are told along the datum's own x and y, with z into the iron, so a part that is turned as a whole keeps its
    figures; for a foot that looks down this is z up. Wedge and lean are positive toward the datum's +x and +y.

    Raises
    ------
    BadParam
        As `parallelism` and `perpendicularity`: a part whose centre of gravity is not over the datum tips.
    KeyError
        For a face that the part has not.
    """
    frame = part.shape.face(tolerance.datum).frame
    axes = np.array([frame.along, frame.across, [-out for out in frame.out]]).T

    def seen(name: str) -> Heights:
        points = body_points(part, name)
        away = np.column_stack([points.x_mm, points.y_mm, points.z_um / UM_PER_MM]) - frame.origin_mm
        x_mm, y_mm, z_mm = (away @ axes).T
        return Heights(x_mm, y_mm, z_mm * UM_PER_MM)

    found = parallelism if tolerance.kind == "parallelism" else perpendicularity
    return found(seen(tolerance.datum), seen(tolerance.face), frame.face_mm(part.shape.centre_mm))


def _plane(heights: Heights) -> tuple[Vector, Vector]:
    """Points in mm about their centroid, and the unit normal of their least-squares plane, not downward."""
    points, _, axes = plane_axes(heights.x_mm, heights.y_mm, heights.z_um)
    refuse_collinear(*(points @ axes[:, :2]).T)
    return points, axes[:, 2]


def _upward(slopes_um_per_mm: list[float]) -> Vector:
    """Unit normal of a plane with these slopes."""
    normal = np.array([-slope / UM_PER_MM for slope in slopes_um_per_mm] + [1.0])
    return np.asarray(normal / np.linalg.norm(normal))


def _slopes(normal: Vector) -> Vector:
    """dz/dx and dz/dy of the plane with this normal."""
    return -normal[:2] / normal[2]


def _range_um(points: Vector, normal: Vector) -> float:
    return float(np.ptp(points @ normal)) * UM_PER_MM


def _zone_um(points: Vector, normal: Vector) -> float:
    """Narrowest zone square to the plane with this normal."""
    across = np.linalg.svd(normal[None])[2][1:]
    return least_width_um(*(points @ across.T).T)


def _twist_um(points: Vector) -> float | None:
    """From z = a + b X + c Y + T/2 X Y, fitted over the box of the points with X and Y from -1 to 1."""
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    x, y = ((2.0 * points[:, :2] - low - high) / (high - low)).T
    fit, _, rank, _ = np.linalg.lstsq(np.column_stack([np.ones(len(x)), x, y, x * y]), points[:, 2], rcond=1e-9)
    return 2.0 * float(fit[3]) * UM_PER_MM if rank == 4 else None


def _degrees(cosine: float) -> float:
    return math.degrees(math.acos(min(1.0, cosine)))


def _above_0(name: str, value: float) -> float:
    if not value > 0.0:
        raise BadParam(f"{name} must be above 0, got {value}")
    return value
