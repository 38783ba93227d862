"""Entries of shop cards in the record: kept, moved without doubling, deleted with their learner."""

import json
import math
import sqlite3
from datetime import UTC, datetime, timedelta

import pytest

from sim.books.record import Record
from sim.books.recordfile import FILE, make_version
from sim.errors import BadFile, BadParam


def clock():
    """Times a minute apart."""
    begun = datetime(2026, 3, 4, 10, 20, 30, tzinfo=UTC)
    minutes = iter(range(10_000))
    return lambda: begun + timedelta(minutes=next(minutes))


def test_entries_come_back_oldest_first_of_one_card_or_of_all(tmp_path):
    with Record.open(tmp_path, clock()) as record:
        record.add_card("films", {"marks_heavy": 4, "film_heavy": 7.5})
        record.add_card("turn", {"same": 9})
        record.add_card("films", {"marks_heavy": 3})
    with Record.open(tmp_path, clock()) as record:
        films = record.cards("films")
        assert [one.values for one in films] == [{"marks_heavy": 4.0, "film_heavy": 7.5}, {"marks_heavy": 3.0}]
        assert films[0].when < films[1].when
        assert [one.card for one in record.cards()] == ["films", "turn", "films"]
        assert record.cards("rub") == []


@pytest.mark.parametrize("values", [{}, {"a": math.nan}, {"a": math.inf}, {"a": "7"}, {str(n): n for n in range(101)}])
def test_what_is_no_entry_is_refused_and_nothing_is_kept(tmp_path, values):
    with Record.open(tmp_path, clock()) as record:
        with pytest.raises(BadParam):
            record.add_card("films", values)
        with pytest.raises(BadParam):
            record.add_card(" ", {"a": 1.0})
        assert record.cards() == []


def test_entries_belong_to_their_learner_and_go_with_him(tmp_path):
    with Record.open(tmp_path, clock()) as record:
        record.switch("Ada")
        record.add_card("turn", {"same": 9})
        record.switch("Bo")
        record.add_card("turn", {"same": 7})
        assert [one.values for one in record.cards(learner="Ada")] == [{"same": 9.0}]
        record.delete("Ada")
        assert [one.values for one in record.cards(learner="Bo")] == [{"same": 7.0}]
        assert record._db.execute("SELECT count(*) FROM card_result").fetchone() == (1,)


def test_entries_move_to_another_machine_and_are_not_doubled(tmp_path):
    with Record.open(tmp_path / "here", clock()) as here:
        here.add_card("turn", {"same": 9})
        here.export(tmp_path / "mine.json")
    with Record.open(tmp_path / "there", clock()) as there:
        assert there.take_in(tmp_path / "mine.json").cards == 1
        again = there.take_in(tmp_path / "mine.json")
        assert (again.cards, again.known) == (0, 1)
        assert [one.values for one in there.cards()] == [{"same": 9.0}]


def test_a_file_of_before_there_were_cards_is_taken_in_and_one_with_a_bad_entry_is_not(tmp_path):
    with Record.open(tmp_path, clock()) as record:
        record.add_card("turn", {"same": 9})
        record.export(tmp_path / "mine.json")
    told = json.loads((tmp_path / "mine.json").read_text())
    cards = told.pop("cards")
    (tmp_path / "old.json").write_text(json.dumps(told))
    (tmp_path / "bad.json").write_text(json.dumps({**told, "cards": [{**cards[0], "values": {"same": "many"}}]}))
    with Record.open(tmp_path / "there", clock()) as there:
        assert there.take_in(tmp_path / "old.json").cards == 0
        with pytest.raises(BadFile, match=r"bad\.json: figure same must be a number, got many"):
            there.take_in(tmp_path / "bad.json")
        assert there.cards() == []


def test_a_record_of_the_version_before_gets_room_for_cards(tmp_path):
    old = sqlite3.connect(tmp_path / FILE)
    make_version(old, 2)
    old.commit()
    old.close()
    with Record.open(tmp_path, clock()) as record:
        record.add_card("turn", {"same": 9})
        assert record.notes == []
        assert len(record.cards()) == 1
