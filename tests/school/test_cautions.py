"""Cautions are there for every topic, short, and put local rules first."""

import re

import pytest

from sim.errors import BadParam
from sim.school.cautions import KEYS, TITLES, caution

DEFERS = re.compile(r"\blocal rules\b|\brules of your shop\b|\bcomes? first\b|\blicensed\b|\ballowed to\b")


@pytest.mark.parametrize("key", KEYS)
def test_a_caution_is_one_or_two_sentences_and_defers_to_local_rules_or_licensed_practice(key):
    words = caution(key)
    assert 1 <= len(re.findall(r"[.](?:\s|$)", words)) <= 2
    assert DEFERS.search(words)
    assert "\n" not in words
    assert len(words) < 300
    assert TITLES[key]


def test_an_unknown_topic_is_one_line_with_the_topics():
    with pytest.raises(BadParam, match=r"^caution must be one of edge, rags, .*, got 'lava'$"):
        caution("lava")
