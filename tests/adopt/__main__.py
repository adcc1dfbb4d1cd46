"""Mutations of the five books: ``python -m tests.adopt 300 [first seed]`` tells what went wrong; ends with 1 if any."""

import sys
import tempfile
from pathlib import Path

from tests.adopt.campaign import small_books, trial


def main(number, first=0):
    """Try so many mutations, spread over the books; print what is wrong and return how much."""
    books, wrong = small_books(), []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + number):
            wrong += trial(books[seed % len(books)], seed, Path(folder))
    for words in wrong:
        print(words)
    print(f"{number} mutations, {len(wrong)} wrong")
    return len(wrong)


if __name__ == "__main__":
    sys.exit(1 if main(*map(int, sys.argv[1:3])) else 0)
