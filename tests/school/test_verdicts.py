"""The verdict of a drill holds to the loss, and its words are true of the item: dozens of items of every kind."""

import re

import numpy as np
import pytest

from sim.errors import BadParam
from sim.school.item import CLOSE, Part
from sim.school.kind_next import ACTS, WhatNext
from sim.school.kinds import KIND_NAMES, make_item
from sim.school.kinds_faces import BAR_MM, FILMS_UM, FORMS
from sim.school.kinds_marks import PALE
from sim.school.kinds_prints import BEARING_ALLOWED, FILM_ANSWERS, SPOT_MM2
from sim.school.replies import example, how, meant, written

FEW = [(3, 7), (3, 8)]  # as in other tests: they are in the cache by then
WALKED = [(level, seed) for level in (1, 4, 7, 10) for seed in range(6)]
QUICK = tuple(kind for kind in KIND_NAMES if kind != "next")
PRAISE = re.compile(r"\b(right|correct|✓)\b")


def next_items():
    """Items of the slow kind, their runs made up: acts apart, and two that the runs do not tell apart."""
    ends = [[3.0, 2.0, 2.5, 4.0, 2.6, 5.0], [1.5, 1.4, 2.0, 2.2, 1.9, 1.45]]
    costs = [[e - min(one) if e - min(one) > 0.2 else 0.0 for e in one] for one in ends]
    facts = [{"round": 8, "film_um": 2.0, "flatness_um": e, "cost_um": c} for e, c in zip(ends, costs, strict=True)]
    return [WhatNext(1 + 9 * n, "blue, cold, high", 1, one, None) for n, one in enumerate(facts)]


@pytest.fixture(scope="module", params=[FEW, pytest.param(WALKED, marks=pytest.mark.slow)], ids=["few", "dozens"])
def walked(request):
    """Two items a kind, or two dozen over the levels."""
    return {kind: [make_item(kind, *one) for one in request.param] for kind in QUICK} | {"next": next_items()}


def nearly(item):
    """An answer that is wrong by little, where there is one."""
    if item.kind == "count":
        return [item.truth[0] + max(2, round(0.2 * item.truth[0])), item.truth[1]]
    if item.kind == "film":
        return [item.truth[0], (FILM_ANSWERS.index(item.truth[1]) + 1) % 4]
    if item.kind == "direction":
        return [(item.truth[0] + 10.0) % 180.0, item.truth[1]]
    if item.kind == "mark":
        return item.truth[1:]
    return None


def answers(item):
    """The truth, one that is near it, and blind ones."""
    rng = np.random.default_rng(item.seed)
    near = nearly(item)
    return [item.truth, *([] if near is None else [near]), *(item.blind(rng) for _ in range(5))]


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_no_tick_above_what_is_tolerated_and_no_praise_in_the_words_of_a_wrong_answer(walked, kind):
    verdicts = set()
    for item in walked[kind]:
        for answer in answers(item):
            told, parts = item.told(answer), item.parts(answer)
            words = " ".join([told.sentence, *(one.words for one in parts)])
            verdicts.add(told.verdict)
            assert told.right == all(one.loss <= one.allowed + 1e-9 for one in parts)
            assert (told.verdict in ("Right", "Near enough")) == told.right
            assert (told.verdict == "Right") == (item.loss(answer) <= 1e-9)
            assert (told.verdict == "Close") == (not told.right and item.loss(answer) <= CLOSE * item.chance_of(answer))
            assert "-0" not in words
            assert " um" not in words
            assert "nan" not in words
            if not told.right:
                assert not PRAISE.search(words), words
                assert "as you said" not in words or len(parts) > 1
    assert "Right" in verdicts
    assert verdicts & {"Not right", "Close"}, "an answer was wrong"


def test_a_part_that_costs_more_than_allowed_is_not_right_and_says_how_much_is():
    over, under = Part("spots miscounted", "spots", 4.2, 9.0, allowed=4.0), Part("x", "um", 0.0, 1.0)
    assert (over.right, over.words) == (False, "spots miscounted: 4.2 spots, up to 4 allowed")
    assert (under.right, under.words) == (True, "")
    assert Part("x", "um", -1e-12, 1.0).words == ""
    assert Part("x", "um", 0.0026, 1.0, allowed=1.0, about="Spots").words == "Spots: Right"
    assert Part("x", "um", 0.3, 1.0, allowed=1.0, about="Film").words == "Film: Right, 0.30 µm from perfect"
    assert Part("x", "um", 2.0, 1.0, allowed=1.0, about="Film", fault="too thin").words == "Film: too thin"


def test_a_right_answer_leads_with_no_loss(walked):
    for items in walked.values():
        for item in items:
            for one in item.parts(item.truth):
                assert one.words in ("", f"{one.about}: Right"), one.words


@pytest.mark.parametrize("kind", ["highest", "order"])
def test_the_reason_of_a_mark_is_what_the_picture_shows_of_it(walked, kind):
    signs = set()
    for item in walked[kind]:
        first, f = int(item.height_um.argmax()), item.facts
        said, pale = item.why(item.truth), f["paler"][first] >= PALE
        signs.add(pale)
        assert (f"the middle of mark {first + 1} is rubbed paler than its rim" in said) == pale
        darkest = f"mark {first + 1} is the darkest" in said
        assert darkest == (max(f["paler"]) < PALE and f["dark"][first] == max(f["dark"]))
        made = item.bank.print_of(f)
        x, y = item.points_mm[first]
        i, j = int(y / made.face.pitch_mm), int(x / made.face.pitch_mm)
        near = made.dark[max(i - 8, 0) : i + 9, max(j - 8, 0) : j + 9]
        if pale:
            assert near.max() >= made.dark[i - 1 : i + 2, j - 1 : j + 2].min() + PALE
    assert signs == {True, False} or len(walked[kind]) == len(FEW)


def test_a_wrong_mark_is_told_by_how_much_it_lies_lower(walked):
    for item in walked["highest"]:
        h = item.height_um
        for n in range(len(h)):
            other = n if n != item.truth else int(np.argsort(-h)[1])
            assert f"Mark {item.truth + 1} stands {h.max() - h[other]:.1f} µm above mark {other + 1}" in item.why(n)


def test_what_is_told_of_a_form_is_what_this_bar_showed(walked):
    assert {item.truth for item in walked["form"]} == set(FORMS) or len(walked["form"]) == len(FEW)
    for item in walked["form"]:
        f, said = item.facts, item.why(item.truth)
        assert "even bar" not in said + item.question
        turned_mm = f["pivot_share"] * BAR_MM[0]
        assert (f"turned {turned_mm:.0f} mm from its left end" if turned_mm >= 0.5 else "at its left end") in said
        middle, ends, rising, falling = f["blue_pct"][0]
        if item.truth == "twisted":
            assert f"{max(rising, falling):.0f} % of two opposite corners" in said
        else:
            assert f"{middle:.0f} % of the middle third and {ends:.0f} % of the ends" in said
        shows = {"crowned": middle > ends, "hollow": ends > middle, "twisted": abs(rising - falling) > 1.0}
        assert shows.get(item.truth, True) or "hardly shows it" in said
        assert ("near the middle" in said) <= (f["pivot_share"] > 0.4)
        assert ("near the end" in said) <= (f["pivot_share"] < 0.1)
        assert len(item.pictures) == len(FILMS_UM)


def test_the_outlines_of_a_count_enclose_its_spots_in_the_square_and_nothing_else(walked):
    for item in walked["count"]:
        f, edges = item.facts, np.array(item.facts["edges_mm"]).reshape(-1, 4)
        if not f["spots"]:
            assert len(edges) == 0
            continue
        x, y = f["corner_mm"]
        assert edges[:, ::2].min() >= x - 0.3
        assert edges[:, 1::2].max() <= y + 25.4 + 0.3
        upright = edges[:, 0] == edges[:, 2]
        area = 0.0  # by lines across: between each two sides that a line meets there is spot
        for at in np.arange(y + 0.125, y + 25.4, 0.25):
            met = np.sort(edges[upright & (edges[:, 1] < at) & (edges[:, 3] > at), 0])
            assert len(met) % 2 == 0
            area += 0.25 * float((met[1::2] - met[::2]).sum())
        assert area >= SPOT_MM2 * f["spots"]
        assert area == pytest.approx(f["bearing_pct"] / 100.0 * 25.4**2, rel=0.5), "spots and specks, gaps closed"
        assert item.told(item.truth).edges_mm == item.edges()


def test_the_tolerance_of_a_count_is_told_before_it_is_asked_for(walked):
    for item in walked["count"]:
        n, share = item.truth
        assert "right within 15 % of the spots (or 1) and 5 points of blue" in item.question
        most = max(1.0, 0.15 * n)
        assert item.right([n + most, min(share + BEARING_ALLOWED, 100.0)])
        assert not item.right([n + most + 0.01, share])
        assert not item.right([n, share + BEARING_ALLOWED + 0.01])


def test_blue_can_be_told_from_iron_on_every_count(walked):
    """Colours of the picture, 0 to 1, where cells carry blue and where they are bare: neither dark nor alike."""
    for item in walked["count"]:
        shown, made = item.pictures[0], item.bank.print_of(item.facts)
        tones = shown.rgb.astype(float) / 255.0
        x0, y0 = item.facts["corner_mm"]
        found = {True: [], False: []}
        for x in np.arange(x0 + 0.5, x0 + 25.0, 0.5):
            for y in np.arange(y0 + 0.5, y0 + 25.0, 0.5):
                left, top = shown.px_of(x, y)
                cell = int(y / made.face.pitch_mm), int(x / made.face.pitch_mm)
                if all(n < size for n, size in zip(cell, made.face.shape, strict=True)):
                    at = (min(max(round(n), 0), m - 1) for n, m in zip((top, left), tones.shape, strict=False))
                    found[bool(made.seen.marked[cell])].append(tones[tuple(at)])
        iron = np.median(found[False], axis=0)
        assert 0.28 < iron.mean() < 0.85, (item.level, item.seed, item.seen_under)
        if len(found[True]) > 20:
            assert np.abs(iron - np.median(found[True], axis=0)).max() > 0.1, (item.level, item.seed, item.seen_under)


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_a_question_is_two_short_sentences_and_its_example_is_an_answer_to_it(walked, kind):
    for item in walked[kind]:
        asked = re.findall(r"[^.?]*[.?](?=\s|$)", item.question)
        assert 1 <= len(asked) <= 2
        assert len(item.question) <= 190
        assert " um" not in item.question
        item.told(meant(item, example(item)))
        assert all(how(form) for form in item.forms)


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_the_truth_as_a_person_writes_it_is_the_truth(walked, kind):
    for item in walked[kind]:
        assert item.loss(meant(item, written(item, item.truth))) == pytest.approx(item.best, abs=1e-9)


WRONG = {
    "highest": [(0, "1 to"), (99, "1 to"), ("1", "1 to"), (True, "1 to"), (None, "1 to")],
    "order": [([1, 2], "all numbers from 1 to 3"), ([1, 1, 2], "each once"), ([0, 1, 2], "1 to 3"), (3, "a list")],
    "film": [([3.0], "a list of 2"), ([30, 1], "0.5 to 10 µm"), ([3.0, "th"], "one of"), ([3.0, 5], "one of")],
    "form": [("round", "even"), (0, "even"), (5, "even"), ("", "even")],
    "count": [([1000, 5], "0 to 120 spots"), ([12, "5"], "0 to 100 %"), (12, "a list of 2")],
    "direction": [([200, 15], "0 to 180 degrees"), ([20, 20], "0, 15, 30 ... 165"), ([20], "a list of 2")],
    "mark": [([13], "1 to 12"), ([1, 1], "each once"), ("all", "a list")],
    "next": [("dance", "stop"), (7, "stop"), ("take", "stop")],
}


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_what_is_no_answer_is_refused_with_what_is_allowed_and_what_came(walked, kind):
    item = walked[kind][0]
    for answer, allowed in WRONG[kind]:
        with pytest.raises(BadParam, match="got ") as told:
            meant(item, answer)
        assert allowed in str(told.value), answer


def test_options_are_taken_by_number_from_one_or_by_their_first_words(walked):
    form, film, act = (walked[kind][0] for kind in ("form", "film", "next"))
    assert [meant(form, one) for one in (1, "Even", "crown", 4)] == [0, 0, 1, 3]
    assert meant(film, [3, "thinner"]) == [3.0, 0]
    assert meant(act, "stop") == len(ACTS) - 1
    assert written(walked["direction"][0], [120.0, 4]) == [120.0, 60.0]
