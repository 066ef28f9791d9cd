"""The glossary."""

import re

import pytest

from diestore.handbook.kinds import KINDS
from diestore.handbook.words import WORDS, by_letter, meaning, word

# What pages must be able to explain.
NEEDED = """hit; stroke; edge; gap; clearance per side; burr; dull; chipped; ground with the set; grind allowance;
stripper;
    pilot; oil breaker; semi-pierce; cut; station; position; piece; spare; hits since sharpened; wear land; edge radius;
    shut height; tensile strength; galled; interval; opening; rests on; mostly handbook; half last another;
    chance of finishing; job; order; limits; borderline; count;
    strike out; order by; cost per thousand; inserts; parts a hit; height group; stroke share; misfeed; coating"""

# Words of statistics that nobody says in a toolroom.
JARGON = re.compile(
    r"\b(quantile|percentile|median|weibull|hazard|censor\w*|posterior|prior|bayes\w*|credible|confidence|variance|"
    r"distribution|probability|standard deviation|sigma|parameter|likelihood)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("term", [t.strip() for t in NEEDED.split(";")])
def test_the_words_on_pages_are_explained(term):
    assert meaning(term)


@pytest.mark.parametrize("each", WORDS.values(), ids=lambda w: w.term)
def test_a_meaning_is_one_or_two_plain_sentences(each):
    assert each.meaning.endswith(".")
    assert 1 <= len(re.findall(r"[.!?](?:\s|$)", each.meaning)) <= 2
    assert len(each.meaning) <= 220
    assert not JARGON.search(each.meaning)
    assert all(word(term) for term in each.see)


def test_a_term_is_found_however_it_is_written():
    assert word("Grind Allowance") is WORDS["grind allowance"]
    assert word("semi pierce") is WORDS["semi-pierce"]
    assert word("clearance") is WORDS["gap"]
    assert word("no such word") is None
    assert word(None) is None
    assert meaning("no such word") == ""


def test_no_name_leads_to_two_words():
    names = [name.casefold() for w in WORDS.values() for name in (w.term, *w.also)]
    assert len(names) == len(set(names))


def test_the_alphabet_holds_every_word_once():
    letters = by_letter()
    assert list(letters) == sorted(letters)
    assert sum(map(len, letters.values())) == len(WORDS)


def test_kinds_speak_as_the_glossary_does():
    for each in KINDS.values():
        assert not JARGON.search(each.meaning)


def test_land_is_the_straight_part_of_a_die_opening_and_no_allowance():
    # common practice, no source: below the land the opening widens, so that slugs fall free
    assert word("land").term == "land"
    assert "straight part of a die opening" in word("die land").meaning
    assert word("grind allowance").also == ()
