"""The look of the workbooks: colours that colour-blind people tell apart, number formats with units, cell styles."""

from __future__ import annotations

import math
from collections.abc import Iterator

from openpyxl.formatting.rule import DataBar, FormatObject, Rule
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.styles.cell_style import StyleArray
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.workbook import Workbook

Looks = dict[str, StyleArray]  # what a cell needs to bear each style, by its name

# Okabe and Ito, Color Universal Design (2002, revised 2008); check value UI-3.
BLACK = "000000"
ORANGE = "E69F00"
SKY_BLUE = "56B4E9"
BLUISH_GREEN = "009E73"
YELLOW = "F0E442"
BLUE = "0072B2"
VERMILLION = "D55E00"
WHITE = "FFFFFF"
GREY = "595959"  # text of lesser weight: 7.0 to 1 on white
LINE = "BFBFBF"


def tint(colour: str, share: float) -> str:
    """Return ``colour`` (RRGGBB) mixed with white; ``share`` is how much of the colour remains, 0 to 1."""
    channels = (int(colour[i : i + 2], 16) for i in (0, 2, 4))
    return "".join(f"{round(255 - share * (255 - channel)):02X}" for channel in channels)


# Fills behind black text. The bar of the load column stands behind text too: black on bluish green is 6.1 to 1.
PALE = {
    "good": tint(BLUISH_GREEN, 0.25),
    "plain": tint(SKY_BLUE, 0.3),
    "note": tint(YELLOW, 0.4),
    "watch": tint(ORANGE, 0.45),
    "bad": tint(VERMILLION, 0.4),
    "quiet": "E7E7E7",
}
BAR = BLUISH_GREEN

FONT = "Arial"
SIZE = 10

# Names of the cell styles, as they also appear in the spreadsheet program's list of styles.
TEXT = "Plan text"
ANY = "Plan any"  # text or number, whatever the user's own column holds
COUNT = "Plan count"
MS = "Plan ms"
SHARE = "Plan share"
MONEY = "Plan money"
MINUTES = "Plan minutes"
NINES = "Plan nines"
DATE = "Plan date"
MOMENT = "Plan moment"
BOX = "Plan box"
FILL_IN = "Plan fill in"
FILL_IN_DATE = "Plan fill in date"
FILL_IN_MOMENT = "Plan fill in moment"
FILL_IN_NUMBER = "Plan fill in number"
SETTING = "Plan setting"
FORMULA = "Plan formula"  # a cell of text format would show the formula itself
HEADING = "Plan heading"
HEADING_OF_NUMBERS = "Plan heading of numbers"
FILL_IN_HEADING = "Plan fill in heading"
TITLE = "Plan title"
HEADLINE = "Plan headline"
SECTION = "Plan section"
LABEL = "Plan label"
NOTE = "Plan note"

# "_m" leaves the room of an m, which keeps a number clear of the text in the next column (LibreOffice does not always
# heed an indent to the right).
FORMATS = {
    TEXT: "@",
    ANY: "General",
    COUNT: "#,##0_m",
    MS: '#,##0.0 "ms"_m',
    SHARE: "0.0%_m",
    MONEY: "#,##0.00_m",
    MINUTES: "#,##0.0_m",
    NINES: "0.00000%_m",
    DATE: "yyyy-mm-dd",
    MOMENT: "yyyy-mm-dd hh:mm",
    SETTING: "General",
    FORMULA: "General",
    FILL_IN: "@",
    FILL_IN_DATE: "yyyy-mm-dd",
    FILL_IN_MOMENT: "yyyy-mm-dd hh:mm",
    FILL_IN_NUMBER: "General",
}
_TIMES = (DATE, MOMENT, FILL_IN_DATE, FILL_IN_MOMENT)
_FILLED_IN = (FILL_IN, FILL_IN_DATE, FILL_IN_MOMENT, FILL_IN_NUMBER)


def add_styles(workbook: Workbook) -> Looks:
    """Make the cell styles of this module known to ``workbook``; return what a cell needs to bear each, by name."""
    looks = {}
    for style in (*_data_styles(), *_layout_styles()):
        if style.name not in workbook.named_styles:
            workbook.add_named_style(style)
        looks[style.name] = workbook._named_styles[style.name].as_tuple()  # type: ignore[attr-defined]
    return looks


def _data_styles() -> Iterator[NamedStyle]:
    thin = Border(bottom=Side(style="hair", color=LINE))
    font = Font(name=FONT, size=SIZE, color=BLACK)
    for name, number_format in FORMATS.items():
        alignment = _alignment(name)
        style = NamedStyle(name, font=font, border=thin, alignment=alignment, number_format=number_format)
        if name in _FILLED_IN:
            style.fill = fill(tint(YELLOW, 0.15))
        yield style


def _layout_styles() -> Iterator[NamedStyle]:
    thin = Border(bottom=Side(style="hair", color=LINE))
    middle = Alignment(vertical="center", wrap_text=True)
    # The indent keeps the heading clear of the filter button.
    right = Alignment(horizontal="right", vertical="center", wrap_text=True, indent=2)
    white = Font(name=FONT, size=SIZE, bold=True, color=WHITE)
    top = Alignment(vertical="top", wrap_text=True)
    yield from (
        NamedStyle(HEADING, font=white, fill=fill(BLUE), alignment=middle),
        NamedStyle(HEADING_OF_NUMBERS, font=white, fill=fill(BLUE), alignment=right),
        NamedStyle(FILL_IN_HEADING, font=Font(name=FONT, size=SIZE, bold=True), fill=fill(YELLOW), alignment=middle),
        NamedStyle(TITLE, font=Font(name=FONT, size=18, bold=True, color=BLUE), alignment=Alignment(vertical="center")),
        NamedStyle(HEADLINE, font=Font(name=FONT, size=13, bold=True), alignment=top),
        NamedStyle(
            SECTION,
            font=Font(name=FONT, size=12, bold=True, color=BLUE),
            border=Border(bottom=Side(style="medium", color=BLUE)),
            alignment=Alignment(vertical="bottom"),
        ),
        NamedStyle(LABEL, font=Font(name=FONT, size=SIZE, bold=True), border=thin, alignment=top),
        NamedStyle(
            BOX,
            font=Font(name=FONT, size=SIZE),
            border=Border(*(Side(style="thin", color=GREY),) * 4),
            alignment=Alignment(horizontal="center", vertical="top"),
        ),
        NamedStyle(NOTE, font=Font(name=FONT, size=SIZE, color=GREY), border=thin, alignment=top),
    )


NUMBERS = frozenset({COUNT, MS, SHARE, MONEY, MINUTES, NINES})
LEFT = Alignment(horizontal="left", vertical="top", wrap_text=True)


def heading_of(style: str) -> str:
    """Return the style of the heading above cells of ``style``."""
    return HEADING_OF_NUMBERS if style in NUMBERS else HEADING


def lines_needed(text: str, width: float, size: float = SIZE) -> int:
    """Return the lines that ``text`` takes in a column of ``width`` characters, in letters of ``size`` points."""
    # Widths count digits of the body size; running text is narrower, but words do not break where the cell ends.
    room = width * 1.2 * SIZE / size
    return sum(max(1, math.ceil(len(line) / room)) for line in text.split("\n"))


def row_height(lines: int, size: float = SIZE) -> float:
    """Return the height in points of a row of ``lines`` lines; 409 points is the most a row can have."""
    return min(lines * size * 1.3 + 2, 405)


def _alignment(style: str) -> Alignment:
    if style in NUMBERS:
        return Alignment(horizontal="right", vertical="top")
    if style in (SETTING, FILL_IN_NUMBER):
        return LEFT
    if style in _TIMES:
        # Programs put them to the right, where they touch the text of the next column.
        return Alignment(horizontal="left", vertical="top")
    return Alignment(vertical="top", wrap_text=style in (TEXT, ANY, FILL_IN, FORMULA))


def fill(colour: str) -> PatternFill:
    """Return a solid fill of ``colour``."""
    return PatternFill("solid", start_color=colour, end_color=colour)


def when(formula: str, pale: str) -> Rule:
    """Return a conditional format: the fill ``PALE[pale]`` and black text where ``formula`` holds."""
    # In a conditional format the background, not the foreground, is what a solid fill shows.
    look = DifferentialStyle(font=Font(color=BLACK), fill=PatternFill(bgColor=PALE[pale]))
    return Rule(type="expression", formula=[formula], dxf=look)


def bar() -> Rule:
    """Return a conditional format: a bar behind the number, as long as the share of the cell that it states."""
    ends = [FormatObject(type="num", val=0), FormatObject(type="num", val=1)]
    return Rule(type="dataBar", dataBar=DataBar(cfvo=ends, color=BAR))
