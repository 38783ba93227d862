"""Scraper blades: what was ground on them, and how their edge has worn."""

from dataclasses import dataclass

from sim.params import param, tool


@tool
class Blade:
    """A blade as ground."""

    end_radius_mm: float = param(60.0, "mm", (10.0, 500.0), "radius of the end, seen on the flat of the blade",
                                 "from memory: 120/90/60/40 rough to split; 60 in training texts")
    width_mm: float = param(25.0, "mm", (5.0, 60.0), "width of the blade", "source: makers' lists, 10 to 35 mm")
    shank_deg: float = param(30.0, "deg", (10.0, 60.0), "angle of the shank to the face", "common practice, no source")
    material: str = param("carbide", "", ("carbide", "high-speed steel", "carbon steel"), "what the edge is made of",
                          "common practice, no source")


@dataclass
class Edge:
    """State of a blade's edge: its radius (um) and the metres cut since it was honed."""

    radius_um: float
    metres: float = 0.0


RACK = {
    "rough": Blade(end_radius_mm=120.0),
    "semi": Blade(end_radius_mm=90.0),
    "fine": Blade(end_radius_mm=60.0),
    "split": Blade(end_radius_mm=40.0, width_mm=20.0),
}
