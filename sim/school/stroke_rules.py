"""Rules that go by acts: stone, direction, blade, edge of the blade, ends of strokes, the same spot twice."""

from collections.abc import Sequence

import numpy as np

from sim.school.evidence import MARK_MM2, Array, abrupt_ends, direction_deg, gone_over, off_blue, read, turned_deg
from sim.school.remark import Found, Places, Rule, numbers, where
from sim.school.seen import RoundSeen

DEPTH_UM = {"rough": 10.0, "semi": 6.7, "fine": 4.0, "split": 2.9}  # of a stroke; computed, as the pushes of the bench
BURR_SHARE = 0.2  # burr / depth with a sharp edge
FEW_STROKES = 10  # below which a round says nothing of habits
SAME_WAY_DEG = 30.0
COVERED_PCT = 90.0  # fields with blue from which all are reached but one or two: trials on coupons
ROUGH_ROUNDS = 4  # with the rough blade and blue in every field, twice running: a skilled hand stays for four in all
DULL_M = 16.0  # twice what a blade is honed after: common practice, no source
ABRUPT_SHARE = 0.4  # trials on coupons: a skilled hand's stay below but in the first round
SHORT_RAMP_MM = 0.5
TWICE_SHARE = 0.25  # trials on coupons: a beginner's stay below 0.15
OFF_SHARE = 0.3  # trials on coupons: a trained hand's stay below 0.25, a beginner's rise to 0.6
STONE_PASSES = 4  # light ones; a firm pass counts for two
SAME_PLACE_MM = 5.0


def _middles(strokes: Array, most: int = 12) -> Places:
    """Middles of the first strokes, mm."""
    return tuple((round(float(0.5 * (s[0] + s[2])), 1), round(float(0.5 * (s[1] + s[3])), 1)) for s in strokes[:most])


def _depth(one: RoundSeen) -> float:
    return DEPTH_UM.get(one.blade, 4.0)


def no_stone(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 4: strokes that no stone follows."""
    one = rounds[-1]
    count = len(one.strokes)
    if count < FEW_STROKES:
        return None
    bare = sum(len(each.strokes) for each in rounds[-2:])
    specks = int((read(one).area_mm2 < MARK_MM2).sum())
    return Found(
        float(one.light + one.firm), one.light + one.firm == 0, BURR_SHARE * _depth(one),
        ("Look for specks and pin-points: they are not iron that stands.",
         f"There were {specks} specks under 0.3 mm² in print {one.number}. What stands up beside a stroke?",
         f"{bare} strokes in two rounds left their burrs, and no stone took them off: the face rides on them.",
         "One light pass of the stone after the strokes, then wipe."),
        _middles(one.strokes), numbers(rounds))


def one_way(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 6: round after round in one direction."""
    if len(rounds) < 2 or min(len(one.strokes) for one in rounds[-2:]) < FEW_STROKES:
        return None
    one, before = rounds[-1], rounds[-2]
    turned = turned_deg(one.strokes, before.strokes)
    at, _ = direction_deg(one.strokes)
    return Found(
        turned, turned < SAME_WAY_DEG, 0.6,
        (f"Look along {at:.0f}°: all the strokes of these rounds lie that way.",
         f"This round is turned by {turned:.0f}° from the last. What will the blade follow next time?",
         "It rides on the waves of the rounds before and deepens them: stripes of 1 to 3 mm.",
         "Turn by about 90° each round, 45° at the least."),
        _middles(one.strokes), numbers(rounds, 3))


def rough_too_long(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 7: the rough blade goes on although blue stands in every field."""
    one = rounds[-1]
    if not len(one.strokes):
        return None
    run = 0
    for each in reversed(rounds):
        if each.blade != "rough" or read(each).fields_pct <= COVERED_PCT:
            break
        run += 1
    return Found(
        float(run), run >= ROUGH_ROUNDS, 0.5 * DEPTH_UM["rough"],
        ("Look at every field: blue stands in all of them.",
         f"It has for {run} rounds with the rough blade. Do the marks grow in number?",
         "A rough stroke digs 10 µm where a few are left: it makes as many lows as it takes highs.",
         "Take the semi blade and half the film."),
        (), numbers(rounds, max(run, 1)))


def dull_edge(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 12: a blade that was not honed for long."""
    one = rounds[-1]
    if not one.scraped:
        return None
    metres = max(each.metres for each in one.scraped)
    blade = max(one.scraped, key=lambda each: each.metres).blade
    return Found(
        metres, metres > DULL_M, 1.0,
        (f"Look at the bottoms of the strokes of the {blade} blade: they shine.",
         f"It has cut {metres:.0f} m since it was honed. Does it bite, or does it slide?",
         "A worn edge burnishes more than it cuts, and raises three times the burr.",
         "Hone after every 8 m or so."),
        _middles(one.strokes), numbers(rounds))


def abrupt(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 13: strokes that begin and end within a mark, or whose push comes and goes at once."""
    one = rounds[-1]
    if len(one.strokes) < FEW_STROKES:
        return None
    ends = abrupt_ends(one)
    short = np.concatenate([np.full(len(each.strokes), each.ramp_mm < SHORT_RAMP_MM) for each in one.scraped])
    which = ends | short
    share = float(which.mean())
    fault = _middles(one.strokes[which])
    spot = where(fault[0], one) if fault else "the middle"
    return Found(
        share, share > ABRUPT_SHARE, BURR_SHARE * _depth(one),
        (f"Look at {spot}, at the ends of the strokes.",
         f"{int(which.sum())} of {len(which)} strokes end short of the mark or with the push still on. What stays?",
         "A ledge, as high as the blade was deep: the next print shows it as a hard thin line.",
         "Begin 1 mm before the mark, end 1 mm beyond it, and ease the push in and out."),
        fault, numbers(rounds))


def twice_over(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 20: the same spot twice in a round."""
    one = rounds[-1]
    if len(one.strokes) < FEW_STROKES:
        return None
    again = gone_over(one) > 0.5
    share = float(again.mean())
    places = _middles(one.strokes[again])
    spot = where(places[0], one) if places else "the middle"
    depth = _depth(one)
    return Found(
        share, share > TWICE_SHARE, depth,
        (f"Look at {spot}: strokes on top of strokes.",
         f"{int(again.sum())} of {len(again)} strokes went over iron just cut. How deep is it there now?",
         f"A stroke takes about {depth:.0f} µm. Where it went twice, the whole face must come down to it.",
         "One stroke on each mark, then print. If it is still high, it will tell."),
        places, numbers(rounds))


def off_the_blue(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 20, the other half: strokes where the print shows no blue."""
    one = rounds[-1]
    if len(one.strokes) < FEW_STROKES:
        return None
    off = off_blue(one)
    share = float(off.mean())
    places = _middles(one.strokes[off])
    spot = where(places[0], one) if places else "the middle"
    return Found(
        share, share > OFF_SHARE, 0.75 * _depth(one),
        (f"Look at {spot} in print {one.number}: bare iron.",
         f"{int(off.sum())} of {len(off)} strokes passed no blue. What did they take?",
         "Iron that shows no blue lies lower than the film. Cut, it lies lower still.",
         "Leave the bare iron. Take only what the print marks."),
        places, numbers(rounds))


def same_place(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 18: always the same place on the plate, the same way round."""
    if len(rounds) < 2:
        return None
    one, before = rounds[-1], rounds[-2]
    if one.upright != before.upright:
        return None
    moved = max(abs(one.x_mm - before.x_mm), abs(one.y_mm - before.y_mm)) if one.turn_deg == before.turn_deg else 999.0
    return Found(
        moved, moved < SAME_PLACE_MM, 0.5,
        (f"Look at the plate: prints {before.number} and {one.number} were made on one spot.",
         f"The face was moved by {moved:.0f} mm. What does it learn if the plate dips there?",
         "A face copies the plate that it lies on; on one spot it copies one dip.",
         "Put it down somewhere else each round, and end for end every second one."),
        (), numbers(rounds, 3))


def stoned_too_much(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 24: pass after pass of the stone."""
    one = rounds[-1]
    passes = one.light + 2 * one.firm
    return Found(
        float(passes), passes >= STONE_PASSES, 0.3 * passes,
        ("Look at the tops of the marks: they are polished.",
         f"{one.light + one.firm} passes of the stone in one round. What is left of the hollows between?",
         f"They took about {0.3 * passes:.1f} µm off the tops: the blue spreads and the pockets fill.",
         "One light pass takes the burrs. Stop there."),
        (), numbers(rounds))


STROKE_RULES = (
    Rule("no stone", 4, no_stone),
    Rule("one way", 6, one_way),
    Rule("rough too long", 7, rough_too_long),
    Rule("dull edge", 12, dull_edge),
    Rule("abrupt ends", 13, abrupt),
    Rule("same place", 18, same_place),
    Rule("twice over", 20, twice_over),
    Rule("off the blue", 20, off_the_blue),
    Rule("stoned too much", 24, stoned_too_much),
)
