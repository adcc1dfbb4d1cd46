"""Text that means a number -> the number: separators, units, bounds, other scripts' digits, compass directions.

Only what can mean one number is read. ``1,234`` may mean two: the whole column may tell which, else nobody does.
"""

import math
import re
import unicodedata
from typing import NamedTuple

from planner.columns import Column
from planner.intake.known_words import is_unknown, why_unknown
from planner.intake.names import is_statement, stated_by
from planner.intake.nouns import counted_in, counts
from planner.intake.rawtable import tidy
from planner.intake.units import NOTHING_STATED, Stated

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"([+-]?)(\d+),(\d+)", re.ASCII)
_THREE_AFTER = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}((,\d{3})+\.\d+|(,\d{3}){2,}(\.\d*)?)", re.ASCII)
_GROUPED_POINT = re.compile(r"[+-]?\d{1,3}((\.\d{3})+,\d+|(\.\d{3}){2,}(,\d*)?)", re.ASCII)
_GROUPED_APOSTROPHE = re.compile(r"[+-]?\d{1,3}('\d{3})+([.,]\d+)?", re.ASCII)
_BLANK_BETWEEN_DIGITS = re.compile(r"(?<=\d) (?=\d{3}(\D|$))", re.ASCII)
_WITH_UNIT = re.compile(r"([+-]?[\d.,' ]*\d[.,]?)\s*([^\d\s.,'].{0,24})", re.ASCII)
_MONEY = re.compile(r"(?:[A-Z]{3}|[$£€¥₹₩₺₽₪₫฿₴])\s*([+-]?\d.*)|([+-]?\d.*?)\s*(?:[A-Z]{3}|[$£€¥₹₩₺₽₪₫฿₴])|(\d.*),-")
_COMPASS = re.compile(
    r"(?P<d>\d{1,3}(?:\.\d+)?)\s*°?\s*(?:(?P<m>\d{1,2}(?:\.\d+)?)\s*'\s*)?(?:(?P<s>\d{1,2}(?:\.\d+)?)\s*(?:\"|'')\s*)?(?P<c>[NSEW])",
    re.ASCII,
)
_BOUNDS = re.compile(
    r"(<=|>=|<|>|≤|≥|~|≈|±|ca\.?|approx\.?|about|circa|up to|less than|more than|over)\s*(?=[\d+.-])", re.I
)
_AT_MOST = frozenset({"<", "<=", "≤", "up to", "less than"})
_AT_LEAST = frozenset({">", ">=", "≥", "more than", "over"})
_NOT_FINITE = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "-infinity", "∞"})
_SIGNS = str.maketrans({"−": "-", "–": "-", "‐": "-", "‑": "-", "’": "'", "‘": "'", "ʼ": "'", "′": "'", "″": '"'}) | {
    ord("٫"): ".",
    ord("٬"): ",",
    ord("\t"): " ",
}
_LONGEST = 400  # a longer text is no number that anybody typed


class Read(NamedTuple):
    """What a text means as a number.

    ``codes`` are the findings to make; with ``number_beyond`` the value is only what the true one exceeds.
    ``stated`` is the unit and direction that the cell itself states.
    ``other`` is a second meaning: the first has a decimal sign where this one has thousands.
    """

    value: float
    codes: tuple[str, ...] = ()
    stated: Stated = NOTHING_STATED
    other: float | None = None
    style: str = ""  # "comma" or "point": the decimal sign, where the text leaves no doubt


def read_number(text: str, spec: Column) -> Read:
    """Return what ``text`` means in a column such as ``spec``; the value is NaN if it is blank or no number."""
    bare = tidy(text)
    if not bare:
        return Read(math.nan)
    if len(bare) > _LONGEST:
        return Read(math.nan, ("number_wanted",))
    if is_unknown(bare):
        return Read(math.nan, (why_unknown(bare) if spec.name == "rtt_ms" else "value_unknown",))
    codes: list[str] = []
    if not bare.isascii():
        folded = "".join(
            str(unicodedata.decimal(c)) if c.isdecimal() else c for c in unicodedata.normalize("NFKC", bare)
        )
        if any(c.isdecimal() and not c.isascii() for c in bare):
            codes.append("number_script")
        bare = folded.translate(_SIGNS)
    bound = _BOUNDS.match(bare)
    if bound is not None:
        sign, bare = bound[1].casefold().rstrip("."), bare[bound.end() :]
        beyond = "number_beyond" if sign in _AT_LEAST else ""
        codes.append(beyond or ("number_bound" if sign in _AT_MOST else "number_about"))
    read = _signed(bare, spec)
    return read._replace(codes=(*codes, *read.codes))


def _signed(bare: str, spec: Column) -> Read:
    """Return the meaning of a text without a bound: a figure, a figure with its unit, or a compass direction."""
    read = _figure(bare)
    if read is not None:
        return read
    if bare.casefold() in _NOT_FINITE:
        return Read(math.nan, ("number_infinite",))
    if spec.name in ("latitude", "longitude"):
        return _compass(bare, spec.name)
    match = _WITH_UNIT.fullmatch(bare)
    if match is not None:
        read, unit = _figure(match[1].strip()), match[2].strip()
        if read is not None and is_statement(unit) and stated_by(unit).fits(spec):
            return read._replace(stated=stated_by(unit))
        if read is not None and unit.casefold() == spec.unit.split(",")[0].casefold():
            return read
    counted = counted_in(bare)
    if counted is not None and counted[1] & counts(spec) and (read := _figure(counted[0])) is not None:
        return read._replace(codes=(*read.codes, "number_noun"))
    money = _MONEY.fullmatch(bare) if spec.unit.startswith("money") else None
    read = None if money is None else _figure(next(filter(None, money.groups())).strip())
    return Read(math.nan, ("number_wanted",)) if read is None else read


def _figure(bare: str) -> Read | None:
    """Return the meaning of digits and separators; None if it is something else."""
    bare = _BLANK_BETWEEN_DIGITS.sub("", bare)
    three = _THREE_AFTER.fullmatch(bare)
    if three is not None:
        as_decimal, as_thousands = float(bare.replace(",", ".")), float(re.sub("[.,]", "", bare))
        return Read(as_decimal, ("number_text" if three[1] == "." else "number_ambiguous",), other=as_thousands)
    if _PLAIN.fullmatch(bare):
        return Read(float(bare), ("number_text",), style="point" if "." in bare else "")
    if _DECIMAL_COMMA.fullmatch(bare):
        return Read(float(bare.replace(",", ".")), ("number_comma",), style="comma")
    if _GROUPED_COMMA.fullmatch(bare):
        return Read(float(bare.replace(",", "")), ("number_comma",), style="point")
    if _GROUPED_POINT.fullmatch(bare):
        return Read(float(bare.replace(".", "").replace(",", ".")), ("number_comma",), style="comma")
    if _GROUPED_APOSTROPHE.fullmatch(bare):
        return Read(float(bare.replace("'", "").replace(",", ".")), ("number_comma",))
    return None


def _compass(bare: str, name: str) -> Read:
    """Return degrees from a text such as 54.9° N or 54° 58' 12" N: south and west are negative."""
    match = _COMPASS.fullmatch(bare)
    letters = "NS" if name == "latitude" else "EW"
    if match is None or match["c"] not in letters:
        plain = _figure(bare.rstrip("° "))
        return Read(math.nan, ("number_wanted",)) if plain is None else plain
    degrees = float(match["d"]) + float(match["m"] or 0) / 60 + float(match["s"] or 0) / 3600
    return Read(round(degrees, 9) * (-1 if match["c"] in "SW" else 1), ("number_text",))
