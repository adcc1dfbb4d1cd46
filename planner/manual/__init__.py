"""The manual: pages in Markdown beside this file, found by topic, searched by words, and joined to one page.

A topic is the name of a file without its ending; ``contents`` is README.md.
"""

from planner.manual.pages import Page, Section, pages, search

__all__ = ["Page", "Section", "pages", "search"]
