"""How hosts look on map, legend and table: colour and shape, so that nobody has to tell colours apart."""

from __future__ import annotations

from planner.outputs import styles

# Okabe and Ito's palette without black, which is the colour of text; check value UI-3 of the workbook's styles.
REDDISH_PURPLE = "CC79A7"
COLOURS = tuple(
    f"#{colour}"
    for colour in (
        styles.BLUE,
        styles.ORANGE,
        styles.BLUISH_GREEN,
        styles.VERMILLION,
        styles.SKY_BLUE,
        REDDISH_PURPLE,
        styles.YELLOW,
    )
)
# Names of Bokeh's markers; page.html draws the same shapes for the legend.
SHAPES = ("circle", "square", "triangle", "diamond", "inverted_triangle", "star")


def look(number: int) -> tuple[str, str]:
    """Return colour and shape of host ``number``: 42 pairs before one comes again, as 7 and 6 share no factor."""
    return COLOURS[number % len(COLOURS)], SHAPES[number % len(SHAPES)]
