"""A few mutations of every book; hundreds run by ``python -m tests.adopt 300``."""

import pytest

from tests.adopt.campaign import small_books, trial


@pytest.fixture(scope="module")
def books():
    return small_books()


@pytest.mark.parametrize("seed", range(5))
def test_a_spoilt_export_loses_and_invents_no_site_unsaid(books, seed, tmp_path):
    assert trial(books[seed % len(books)], seed, tmp_path) == []
