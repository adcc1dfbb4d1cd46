"""The texts of pages: what stands between the tags of an HTML file, and the strings of a script that are words."""

import re
from html.parser import HTMLParser

_BLOCKS = {
    "p",
    "h1",
    "h2",
    "h3",
    "li",
    "button",
    "label",
    "dt",
    "dd",
    "td",
    "th",
    "figcaption",
    "title",
    "a",
    "summary",
}
_SHOWN = ("placeholder", "aria-label", "title", "alt")
_TEMPLATE = re.compile(r"\{%.*?%\}", re.DOTALL)
_STRING = re.compile(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`')
_FILLED = re.compile(r"\$\{((?:[^{}]|\{[^{}]*\})*)\}")
_WORDS = re.compile(r"[A-Za-z]{2,}\S* \S|\S [a-z]{3,}")


def of_html(text):
    """Yield line number and text of each block of a page."""
    parser = _Blocks()
    parser.feed(_TEMPLATE.sub(lambda found: "\n" * found[0].count("\n"), text))
    yield from parser.found


class _Blocks(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found, self._parts = [], []

    def handle_starttag(self, tag, attrs):
        if tag in _BLOCKS:
            self._end()
        for name, value in attrs:
            if name in _SHOWN and value:
                self.found.append((self.getpos()[0], value))

    def handle_endtag(self, tag):
        if tag in _BLOCKS or tag in ("div", "section", "style", "script"):
            self._end()

    def handle_data(self, data):
        self._parts.append(data)

    def _end(self):
        if text := " ".join("".join(self._parts).split()):
            self.found.append((self.getpos()[0], re.sub(r"\{\{ *(.*?) *\}\}", r"{\1}", text)))
        self._parts = []


def of_script(text):
    """Yield line number and text of each string of a script that is more than one word."""
    for number, line in enumerate(text.splitlines(), start=1):
        for quoted, filled in _STRING.findall(line.partition(" // ")[0]):
            words = _FILLED.sub("{…}", quoted or filled)
            if _WORDS.search(words) and not re.search(
                r"[<>=;]|^,|\($|^[MLZ]\d|^[a-z-]+( [a-z-]+)?$|^\d|url\(|^[a-z]+ \{…\}$|^#|^\(prefers-", words
            ):
                yield number, words
