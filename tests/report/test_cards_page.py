"""Shop cards on paper: a page each, nothing off the sheet, no network, files whole or not at all."""

import re

import pytest

from sim.errors import CannotWrite
from sim.report.cards_page import card_paper, cards_html, model_words, save_cards, save_entered
from sim.report.paper import SIZES_MM, width_mm, wrapped
from sim.school.cards import NAMES, card
from sim.school.cautions import caution
from sim.school.exercises import simulate


def reach_mm(paper):
    """Right and lower end of everything drawn on a sheet."""
    renderer = paper.figure.canvas.get_renderer()
    boxes = [one.get_window_extent(renderer) for one in (*paper.figure.texts, *paper.figure.artists)]
    boxes += [one.get_window_extent(renderer) for one in paper.figure.axes]
    mm = 25.4 / paper.figure.dpi
    return max(box.x1 for box in boxes) * mm, paper.size_mm[1] - min(box.y0 for box in boxes) * mm


@pytest.mark.parametrize("size", list(SIZES_MM))
@pytest.mark.parametrize("name", NAMES)
def test_a_card_fits_one_page_and_its_frames_are_large_enough_to_draw_in(name, size):
    made = card_paper(card(name), simulate(name), size)
    across, down = reach_mm(made)
    assert across <= made.size_mm[0] - 0.6 * made.margin_mm
    assert down <= made.size_mm[1] - 0.6 * made.margin_mm
    assert made.figure.axes[0].get_position().width * made.size_mm[0] >= 30.0


def test_text_wraps_within_its_room_and_loses_no_word():
    words = "a scraper is pushed hard and slips and so are words that are longer than a line"
    lines = wrapped(words, 30.0, 9.0)
    assert " ".join(lines) == words
    assert len(lines) > 2
    assert all(width_mm(line, 9.0) <= 30.0 for line in lines)
    assert wrapped("incomprehensibilities", 5.0, 9.0) == ["incomprehensibilities"]


def test_the_page_carries_all_words_fields_and_pictures_and_asks_no_network():
    page = cards_html([(card(name), simulate(name)) for name in ("turn", "films")], "letter")
    assert page.count("<article") == 2
    assert page.count("class='fill'") == len(card("turn").fields) + len(card("films").fields)
    assert page.count("<img") == len(simulate("turn").shots) + len(simulate("films").shots)
    assert page.count("class='frame'") == len(card("turn").draw) + len(card("films").draw)
    assert "size:letter" in page
    assert "break-after:page" in page
    assert not re.search(r"https?:|<script|url\(", page)
    assert caution("rags") in page


def test_a_card_is_one_page_of_html_and_one_of_pdf_and_nothing_is_overwritten_unasked(tmp_path):
    sheets = [(card("pivot"), simulate("pivot"))]
    written = save_cards(tmp_path, sheets, "a4", name="pivot")
    assert [path.name for path in written] == ["pivot.html", "pivot.pdf"]
    data = written[1].read_bytes()
    assert data.startswith(b"%PDF-")
    assert len(re.findall(rb"/Type /Page\b", data)) == 1
    with pytest.raises(CannotWrite, match="--force"):
        save_cards(tmp_path, sheets, "a4", name="pivot")


@pytest.mark.slow
def test_the_files_are_the_same_each_time(tmp_path):
    sheets = [(card(name), simulate(name)) for name in NAMES]
    first, again = (save_cards(tmp_path / one, sheets, "letter", name="all") for one in ("a", "b"))
    assert [one.read_bytes() for one in first] == [one.read_bytes() for one in again]


def test_what_the_model_got_has_its_unit_and_a_dash_where_it_says_nothing():
    found = simulate("pivot")
    assert model_words(card("pivot").field("length"), found) == "–"
    assert re.fullmatch(r"\d+(\.\d)? %", model_words(card("pivot").field("first"), found))


def test_entries_beside_the_model_make_a_picture(tmp_path):
    entries = [{"same": 9.0, "turned": 0.0}, {"same": 8.0}]
    save_entered(tmp_path / "yours.png", card("turn"), simulate("turn"), entries)
    assert (tmp_path / "yours.png").read_bytes().startswith(b"\x89PNG")
