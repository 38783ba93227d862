"""When a face is done: limits as data."""

from sim.params import param, tool


@tool
class Target:
    """The limits that a face must meet. The defaults are those of the demo's foot."""

    bearing_flatness_um: float = param(2.5, "um", (0.1, 1000.0), "bearing flatness at most",
                                       "common practice, no source")
    spots_mean: float = param(20.0, "1/in2", (0.0, 200.0),
                              "spots per square inch, mean over every placement, at least", "from memory")
    spots_lowest: float = param(8.0, "1/in2", (0.0, 200.0), "spots in the lowest square inch, at least",
                                "common practice, no source")
    bearing_pct: float = param(10.0, "%", (0.0, 100.0), "share of the face that marks, at least",
                               "source: ISO 8512-1 as issued in AS 1004.1-1998, grades 2 and 3")
    spot_area_mm2: float = param(1.0, "mm2", (0.05, 25.0), "the smallest mark that an eye counts", "from memory")
