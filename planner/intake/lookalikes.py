"""Ids that look alike: letters of other scripts, full-width forms, dashes and blanks of all kinds.

The letters are those of Cyrillic and Greek that Unicode Technical Standard 39 (Unicode Security Mechanisms) lists as
confusable with a Latin letter, in its data file confusables.txt; dashes and blanks are those of Unicode's categories
Pd and Zs. Letter case counts: S01 and s01 are two ids.
"""

import unicodedata

_CYRILLIC = dict(zip("АВЕЅІЈКМНОРСТУХаеорсухѕіјһԁԛԝѵ", "ABESIJKMHOPCTYXaeopcyxsijhdqwv", strict=True))
_GREEK = dict(zip("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧαογνρι", "ABEZHIKMNOPTYXaoyvpi", strict=True))
_QUOTES = dict.fromkeys("\u2018\u2019\u02bc\u2032\u00b4`", "'")
_FOLDED = str.maketrans({**_CYRILLIC, **_GREEK, **_QUOTES, "\u2212": "-"})


def skeleton(text: str) -> str:
    """Return a form that is equal for ids that people would take for one another.

    >>> skeleton("\u0410-01") == skeleton("A\u201101"), skeleton("\uff21\uff11"), skeleton("S  1")
    (True, 'A1', 'S 1')
    """
    if not text.isascii():
        text = unicodedata.normalize("NFKC", text).translate(_FOLDED)
        text = "".join("-" if unicodedata.category(c) == "Pd" else c for c in text)
    return " ".join(text.split())
