"""Pages of the manual and their sections."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

_FOLDERS = ("tutorials", "how-to", "reference", "explanation")
_FIRST = "contents"


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands below it, as Markdown; ``topic`` is that of its page."""

    topic: str
    heading: str
    text: str


@dataclass(frozen=True, slots=True)
class Page:
    """One page: ``folder`` is blank for pages beside the table of contents."""

    topic: str
    folder: str
    text: str

    @property
    def title(self) -> str:
        """The first heading."""
        return self.text.partition("\n")[0].lstrip("# ")

    def sections(self) -> Iterator[Section]:
        """Yield the parts that begin with a heading, in order; a ``#`` in a block of code is none."""
        parts = re.split(r"^(#{1,4} .*)$", re.sub(r"(?ms)^```.*?^```$", _kept, self.text), flags=re.MULTILINE)
        for heading, text in zip(parts[1::2], parts[2::2], strict=True):
            yield Section(self.topic, heading.lstrip("# "), text.replace("\0", "#").strip())


@cache
def pages() -> dict[str, Page]:
    """Return the pages by topic, contents first."""
    root = files("planner.manual")
    first = Page(_FIRST, "", (root / "README.md").read_text(encoding="utf-8"))
    found = [Page(_topic(file), folder, file.read_text(encoding="utf-8")) for folder, file in _files(root)]
    return {page.topic: page for page in (first, *found)}


def search(words: str) -> list[Section]:
    """Return the sections that hold all ``words``, in either case; those with them in the heading come first."""
    wanted = words.casefold().split()
    sections = [section for page in pages().values() for section in page.sections()]
    found = [one for one in sections if all(word in f"{one.heading} {one.text}".casefold() for word in wanted)]
    return sorted(found, key=lambda one: not all(word in one.heading.casefold() for word in wanted))


def _kept(block: re.Match[str]) -> str:
    return block[0].replace("#", "\0")


def _topic(file: Traversable) -> str:
    return file.name.removesuffix(".md")


def _files(root: Traversable) -> Iterator[tuple[str, Traversable]]:
    for folder in _FOLDERS:
        for file in sorted((root / folder).iterdir(), key=lambda one: one.name):
            if file.name.endswith(".md"):
                yield folder, file
    yield "", root / "changes.md"
