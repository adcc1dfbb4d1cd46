"""`castingvote manual`: the manual in the terminal, or as one page with a search."""

from __future__ import annotations

import sys
import tempfile
import webbrowser
from pathlib import Path

import click

from planner.cli.streams import say

_SHOWN = 20  # places found
_AROUND = 60  # characters before what is found


@click.command()
@click.argument("topic", nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="MANUAL.html",
    help="Write all pages as one HTML page with a search; it works offline.",
)
@click.option("--open", "browse", is_flag=True, help="Open the manual at this page in your browser.")
def manual(topic: tuple[str, ...], output: Path | None, browse: bool) -> int:
    """Print a page of the manual, or search it.

    TOPIC is the name of a page; without it, all pages are listed. Other words are searched for, and the
    places are listed. Ends with 1 when nothing is found.

    \b
    Example:
        castingvote manual
        castingvote manual columns
        castingvote manual freeze
        castingvote manual -o manual.html
    """
    from planner.manual import pages

    if output is not None or browse:
        return _written(output, browse)
    words = " ".join(topic)
    if not words:
        _list_pages()
        return 0
    if words in pages():
        _print_page(pages()[words].text)
        return 0
    return _search(words)


def _written(output: Path | None, browse: bool) -> int:
    """Write the one page, for good or for a look, and open it if asked."""
    from planner.manual.one_page import one_page
    from planner.outputs.atomic import write_text

    path = output or Path(tempfile.mkdtemp(prefix="castingvote-")) / "manual.html"
    write_text(path, one_page())
    say(f"Written: {path}")
    if browse and not webbrowser.open(path.resolve().as_uri()):
        say("No browser could be opened here. Open the file yourself.", err=True)
    return 0


def _list_pages() -> None:
    from planner.manual import pages

    wide = max(map(len, pages()))
    for topic, page in pages().items():
        say(f"{topic:{wide}}  {page.title}")
    say("Print a page: castingvote manual TOPIC. Search: castingvote manual WORD. All with search: --open.")


def _print_page(text: str) -> None:
    """Print Markdown as it is; set out for reading where a person reads it."""
    if not sys.stdout.isatty():
        say(text.rstrip())
        return
    from rich.markdown import Markdown

    from planner.cli.console import console

    console().print(Markdown(text))


def _search(words: str) -> int:
    from planner.manual import search

    found = search(words)
    for section in found[:_SHOWN]:
        say(f"{section.topic}: {section.heading}\n    {_around(section.text, words)}")
    if len(found) > _SHOWN:
        say(f"{len(found) - _SHOWN} more places. Give one more word.")
    if not found:
        say(f'The manual has no page "{words}", and the word occurs nowhere in it. See castingvote manual.', err=True)
    return 0 if found else 1


def _around(text: str, words: str) -> str:
    """Return what stands around the first of the words, on one line."""
    plain = " ".join(text.split())
    begin = max(0, plain.casefold().find(words.split()[0].casefold()) - _AROUND)
    return plain[begin : begin + 2 * _AROUND]
