"""What a spreadsheet's number format says about the digits that the user sees."""

import re

# Padding ("_x"), fill ("*x"), colours and conditions in brackets, and an escaped blank do not change digits.
_DECORATION = re.compile(r"_.|\*.|\[[^\]]*\]|\\ ")
_DIGITS = re.compile(r"#?(0+)(?:\.(0+))?")


def rendered(value: float, number_format: str) -> str | None:
    """Return ``value`` as ``number_format`` shows it, or None if the format leaves the digits open or hides some.

    >>> rendered(8.1, "0.00"), rendered(42, "0000"), rendered(8.1, "General"), rendered(8.125, "0.00")
    ('8.10', '0042', None, None)
    """
    match = _DIGITS.fullmatch(_DECORATION.sub("", number_format.split(";")[0]).strip())
    if match is None or value < 0:
        return None
    decimals = len(match[2] or "")
    width = len(match[1]) + (decimals + 1 if decimals else 0)
    text = f"{value:0{width}.{decimals}f}"
    return text if float(text) == value else None


def is_percent(number_format: str) -> bool:
    """Return whether the format multiplies by 100 for display.

    >>> is_percent("0%"), is_percent('0.0"%"')
    (True, False)
    """
    return "%" in re.sub(r'"[^"]*"|\\.', "", number_format)
