"""Ways of working a face, each a generator of commands that sees what a person sees; registered with what can be set.

Whoever writes one more decorates a function of a hand and its options with `@strategy`.
"""

import inspect
from collections.abc import Callable, Generator, Iterable
from dataclasses import Field, dataclass, field, replace
from typing import Any

from sim.errors import BadParam
from sim.hands.autopilot import STAGES, Pilot, follow_the_blue
from sim.hands.bands import Bands, PadsFirst, bands_for
from sim.hands.skill import Hand
from sim.params import check_param, param
from sim.shop.commands import BreakEdges, Command, StoneFace, WipeFace
from sim.shop.partwork import RecutFace
from sim.shop.sight import Sight

Work = Generator[Command, Sight, None]
Way = Callable[..., Work]
TRAM_UM_PER_100MM = 10.0  # 0.02 mm over 200 mm
NO_TRAM_UM_PER_100MM = 100.0 * 100.0 / 150.0  # 0.10 mm over 150 mm


@dataclass(frozen=True)
class Strategy:
    """A registered way of working.

    Attributes
    ----------
    name, doc : str
    work : function of a hand and the options, by name, to a generator of commands
    options : dict of str to Field
        As `sim.params.param` makes them: default, unit, range, meaning and where the number comes from.
    needs_heights : bool
        Whether it is of use only where the drawing holds the face to another one.
    """

    name: str
    doc: str
    work: Way
    options: dict[str, Field[Any]] = field(default_factory=dict)
    needs_heights: bool = False

    def chosen(self, **given: float) -> dict[str, float]:
        """Every option with its value; a name may be cut short while it is clear.

        Raises
        ------
        BadParam
            A name that is unknown or not clear, or a value outside its range.
        """
        values: dict[str, Any] = {name: option.default for name, option in self.options.items()}
        for short, value in given.items():
            fits = [name for name in self.options if name.startswith(short)]
            if short in self.options:
                fits = [short]
            if len(fits) != 1:
                takes = ", ".join(self.options) or "no option"
                raise BadParam(f"{self.name} takes {takes}, got {short[:40]!r}")
            check_param(f"{self.name}: {fits[0]}", value, self.options[fits[0]].metadata)
            values[fits[0]] = float(value)
        return values


STRATEGIES: dict[str, Strategy] = {}


def strategy(name: str, *, needs_heights: bool = False, **options: Any) -> Callable[[Way], Way]:
    """Register a way of working under a name; its doc line is what `flatwright compare --list` tells.

    options: what can be set, by name, each made by `param`.

    Raises
    ------
    BadParam
        No generator function, no doc line, or a name that is taken or of other than small letters, digits and hyphens.
    """

    def register(work: Way) -> Way:
        doc = (inspect.getdoc(work) or "").partition("\n")[0]
        plain = name.replace("-", "a")
        if not (plain.isascii() and plain.isalnum() and plain == plain.lower()):
            raise BadParam(f"the name of a strategy must be of small letters, digits and hyphens, got {name[:40]!r}")
        if not doc or not inspect.isgeneratorfunction(work):
            raise BadParam(f"strategy {name} must be a generator function with a doc line, got "
                           f"{'no doc line' if not doc else 'a function that yields nothing'}")
        if name in STRATEGIES:
            raise BadParam(f"the name {name} is taken already")
        STRATEGIES[name] = Strategy(name, doc, work, options, needs_heights)
        return work

    return register


def known(names: Iterable[str] = ()) -> list[Strategy]:
    """Strategies of these names; all where none is given.

    Raises
    ------
    BadParam
        A name that is not registered.
    """
    found = []
    for name in names or STRATEGIES:
        if name not in STRATEGIES:
            raise BadParam(f"strategy must be one of {', '.join(STRATEGIES)}, got {name[:60]!r}")
        found.append(STRATEGIES[name])
    return found


def begin(*, edges: bool = True, recut: RecutFace | None = None) -> Generator[Command, Sight, Sight]:
    """What comes before the first film: the machine and the stone if asked, edges broken where they are sharp."""
    sight = yield recut or WipeFace()
    if edges and not sight.edges_broken:
        sight = yield BreakEdges()
    if recut is not None:
        sight = yield StoneFace()
    return sight


def go_on(sight: Sight, hand: Hand, pilot: Pilot | None = None, corrector: type[Bands] | None = Bands,
          **habits: Any) -> Work:
    """Follow the blue from here on, with heights where the drawing asks for them."""
    correct = bands_for(sight.tolerances, sight.in_hand, corrector) if corrector else None
    yield from follow_the_blue(hand, pilot, correct=correct, **habits)


@strategy("every-mark")
def every_mark(hand: Hand) -> Work:
    """Scrape every mark of every print, finer as the blue spreads; never leave or split one."""
    sight = yield from begin()
    yield from go_on(sight, hand, split=None)


@strategy("hard-first")
def hard_first(hand: Hand) -> Work:
    """Take marks with a bare middle alone while a print shows any, then break up late."""
    sight = yield from begin()
    yield from go_on(sight, hand, hard_first=True)


@strategy("break-up-early")
def break_up_early(hand: Hand) -> Work:
    """Split large marks as soon as the semi stage is done, whether the blue is even or not."""
    sight = yield from begin()
    yield from go_on(sight, hand, Pilot(even_share=0.0), stages=(*STAGES[:2], STAGES[3]))


@strategy("break-up-late")
def break_up_late(hand: Hand) -> Work:
    """Follow the blue, even it out, split large marks once it is even: the way of the demo."""
    sight = yield from begin()
    yield from go_on(sight, hand)


@strategy("break-up-never")
def break_up_never(hand: Hand) -> Work:
    """As break-up-late, but go on evening the blue and never split a mark."""
    sight = yield from begin()
    yield from go_on(sight, hand, Pilot(even_share=1.0))


@strategy("bands", needs_heights=True)
def bands(hand: Hand) -> Work:
    """Take a wedge off in bands by the heights written on the face, swept again every second round."""
    yield from break_up_late(hand)  # which does so wherever the drawing asks


@strategy("pads-first", needs_heights=True)
def pads_first(hand: Hand) -> Work:
    """Bring pads at the corners down to the lowest by heights, then the rest down to the pads."""
    sight = yield from begin()
    yield from go_on(sight, hand, corrector=PadsFirst)


@strategy("blue-alone", needs_heights=True)
def blue_alone(hand: Hand) -> Work:
    """Follow the blue and never read a height, whatever the drawing asks."""
    sight = yield from begin()
    yield from go_on(sight, hand, corrector=None)


@strategy("heavy-film", film_um=param(8.0, "um", (2.0, 20.0), "film of every print",
                                "from memory: as the pilot roughs"))  # fmt: skip
def heavy_film(hand: Hand, film_um: float) -> Work:
    """Roll a heavy film for every print, to the end."""
    sight = yield from begin()
    yield from go_on(sight, hand, stages=tuple(replace(one, film_um=film_um) for one in STAGES))


@strategy("thin-film", film_um=param(1.5, "um", (0.5, 4.0), "film of every print",
                               "from memory: as the pilot ends"))  # fmt: skip
def thin_film(hand: Hand, film_um: float) -> Work:
    """Roll a thin film for every print, from the first."""
    yield from heavy_film(hand, film_um)


@strategy("no-stone")
def no_stone(hand: Hand) -> Work:
    """Never stone the burrs off; wipe and print again."""
    sight = yield from begin()
    yield from go_on(sight, hand, stone=False)


@strategy("no-edge-break")
def no_edge_break(hand: Hand) -> Work:
    """Leave the edges sharp as they came off the machine; otherwise break-up-late."""
    sight = yield from begin(edges=False)
    yield from go_on(sight, hand)


@strategy("one-way")
def one_way(hand: Hand) -> Work:
    """Scrape in one direction, round after round."""
    sight = yield from begin()
    yield from go_on(sight, hand, crossing=False)


DEPTH = param(130.0, "um", (50.0, 1000.0), "depth of cut; what lies deeper is not reached",
              "computed: reaches all of a face that is 80 um out")  # fmt: skip


def tram(um_per_100mm: float, ref: str) -> Any:
    """The option of a head that is out of tram."""
    return param(um_per_100mm, "um/100mm", (-500.0, 500.0),
                 "head out of tram along the feed: 0.02 mm over 200 mm is 10", ref)  # fmt: skip


IN_TRAM = tram(TRAM_UM_PER_100MM, "common practice, no source: 0.02 mm over 200 mm")


@strategy("fly-cut", tram_um_per_100mm=IN_TRAM, depth_um=DEPTH)
def fly_cut(hand: Hand, tram_um_per_100mm: float, depth_um: float) -> Work:
    """Cut the face again on a mill whose head is in tram, 0.02 mm over 200 mm, then break up late."""
    sight = yield from begin(recut=RecutFace(depth_um=depth_um, tram_along_um_per_100mm=tram_um_per_100mm))
    yield from go_on(sight, hand)


@strategy("fly-cut-out-of-tram", depth_um=DEPTH,
          tram_um_per_100mm=tram(NO_TRAM_UM_PER_100MM, "common practice, no source: 0.10 mm over 150 mm"))
def fly_cut_out_of_tram(hand: Hand, tram_um_per_100mm: float, depth_um: float) -> Work:
    """Cut the face again on a mill whose head is out of tram, 0.10 mm over 150 mm, then break up late."""
    yield from fly_cut(hand, tram_um_per_100mm, depth_um)


@strategy("cup-grind", tram_um_per_100mm=IN_TRAM,
          depth_um=param(60.0, "um", (5.0, 1000.0), "depth of cut, 10 um at a time; what lies deeper is not reached",
                         "computed: reaches all of a milled face, 25 um out"))  # fmt: skip
def cup_grind(hand: Hand, tram_um_per_100mm: float, depth_um: float) -> Work:
    """Grind the face with a cup wheel in a mill, head in tram, then break up late."""
    cut = RecutFace("cup wheel", depth_um=depth_um, tram_along_um_per_100mm=tram_um_per_100mm)
    sight = yield from begin(recut=cut)
    yield from go_on(sight, hand)


@strategy("rough-only")
def rough_only(hand: Hand) -> Work:
    """Rough to the end: heavy film, the widest blade, long strokes."""
    sight = yield from begin()
    yield from go_on(sight, hand, stages=(replace(STAGES[0], least_rounds=1_000_000),), split=None)


@strategy("fine-only")
def fine_only(hand: Hand) -> Work:
    """Begin at once with the finishing blade and a thin film."""
    sight = yield from begin()
    yield from go_on(sight, hand, stages=STAGES[2:])
