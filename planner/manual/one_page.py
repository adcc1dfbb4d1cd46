"""All pages as one HTML page with a search of its own: it carries what it needs and asks no network for anything."""

from __future__ import annotations

import base64
import hashlib
import re
from importlib.resources import files

from jinja2 import Environment
from markdown_it import MarkdownIt

from planner.manual.pages import Page, pages

_GROUPS = {"tutorials": "Learn", "how-to": "Do", "reference": "Look up", "explanation": "Understand", "": "And"}


def one_page() -> str:
    """Return the page. Links between pages lead to their places in it; those to other files lose their targets."""
    room = files("planner.manual")
    style, script = ((room / name).read_text(encoding="utf-8") for name in ("page.css", "search.js"))
    to_html = MarkdownIt("commonmark", {"html": False}).enable("table")
    bodies = {topic: _within(to_html.render(_shown(page))) for topic, page in pages().items()}
    groups = [(words, [page for page in _listed() if page.folder == folder]) for folder, words in _GROUPS.items()]
    template = Environment(autoescape=True).from_string((room / "page.html").read_text(encoding="utf-8"))
    policy = f"default-src 'none'; style-src {_allowed(style)}; script-src {_allowed(script)}"
    return template.render(policy=policy, style=style, script=script, groups=groups, pages=pages(), bodies=bodies)


def _listed() -> list[Page]:
    return [page for topic, page in pages().items() if topic != "contents"]


def _shown(page: Page) -> str:
    return re.sub(r"(?m)^<!--.*-->\n", "", page.text)


def _within(html: str) -> str:
    inside = re.sub(r'href="[^"#:]*?([\w-]+)\.md(?:#[^"]*)?"', r'href="#\1"', html)
    return inside.replace('href="#README"', 'href="#contents"').replace("<table>", '<table tabindex="0">')


def _allowed(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
