"""The texts that users see keep the house style of DEVELOPERS.md, as far as a program can tell."""

import re
from pathlib import Path

import pytest

from tests.sentences import sentences, without_braces

ROOT = Path(__file__).parents[1]
PAGES = [ROOT / "README.md", *sorted((ROOT / "planner" / "manual").rglob("*.md"))]

MOST_WORDS = 30
# Our own idioms that readers did not understand.
IDIOMS = re.compile(
    r"\bsolver's word\b|\bword alone\b|\bthe hosts that exist do\b|\bwould do\b|\bwill not do\b|\bthe best there is\b"
    r"|\bin any\)|\bno loss is covered\b|\bready after\b|\bsets of sites\b|\bon the front\b|\bvote of its own\b"
    r"|\bfor want of\b|\bto mend there\b|\bbears? (?:it )?out\b",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def every_sentence():
    """Every text that a user can see: reading them from the source takes seconds, so it waits for who asks."""
    return sorted(sentences())


def parts(text):
    """The sentences of a text, without lists in brackets."""
    plain = re.sub(r"\([^()]*\)", "", without_braces(text, "X"))
    return [part for part in re.split(r"(?<=[.!?:;])\s+|\s[#|]\s", plain) if part]


def test_no_sentence_is_longer_than_30_words(every_sentence):
    long = [
        f"{one.audience}, {one.place}: {part}"
        for one in every_sentence
        for part in parts(one.text)
        if len(part.split()) > MOST_WORDS
    ]
    assert long == []


def test_no_idiom_of_our_own_is_used(every_sentence):
    used = [one for one in every_sentence if IDIOMS.search(without_braces(one.text, "X"))]
    assert [f"{one.place}: {one.text}" for one in used] == []


def prose(text):
    """The sentences of a page: of paragraphs, of items of lists and of cells of tables; code counts as a word."""
    text = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)
    text = re.sub(r"\([^()]*\)", "", re.sub(r"`[^`]*`", "code", text))
    text = re.sub(r"^\s*(?:[-*]|\d+\.|#+)\s|\||\n\s*\n", "\n\n", text, flags=re.MULTILINE)
    return [" ".join(one.split()) for part in text.split("\n\n") for one in re.split(r"(?<=[.!?])\W*\s", part)]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_no_sentence_of_the_manual_is_longer_than_30_words(page):
    assert [one for one in prose(page.read_text(encoding="utf-8")) if len(one.split()) > MOST_WORDS] == []
