"""Bytes of a text file -> text: by its mark, as UTF-8 or UTF-16, else in the encoding that leaves the likeliest words.

The guess is that of charset-normalizer: it weighs how odd the characters and how usual its letters are.
"""

from collections.abc import Mapping

from planner.intake.findings import Findings, Place

_SAMPLE_BYTES, _MOSTLY = 10_000, 0.7
_GUESSED_FROM = 100_000
_BYTE_ORDER_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
# What people export, the most usual first: of encodings that give one text the first is named.
_NAMES: Mapping[str, str] = {
    "cp1252": "Windows-1252 (Western Europe)",
    "cp1250": "Windows-1250 (Central Europe)",
    "cp1251": "Windows-1251 (Cyrillic)",
    "cp1253": "Windows-1253 (Greek)",
    "cp1254": "Windows-1254 (Turkish)",
    "cp1257": "Windows-1257 (Baltic)",
    "cp850": "code page 850 (DOS, Western Europe)",
    "cp852": "code page 852 (DOS, Central Europe)",
    "cp437": "code page 437 (DOS)",
    "cp866": "code page 866 (DOS, Cyrillic)",
    "koi8_r": "KOI8-R (Cyrillic)",
    "mac_roman": "Mac Roman",
    "shift_jis": "Shift JIS (Japanese)",
    "gb18030": "GB 18030 (Chinese)",
    "big5": "Big5 (Chinese)",
    "euc_kr": "EUC-KR (Korean)",
}
_FEW = 3  # bytes beyond ASCII that are too few to tell one encoding from another


def decoded(data: bytes, place: Place, findings: Findings, others: bytes = b"") -> str | None:
    """Return the text of a file; None, with a finding, if it is in no encoding that can be told.

    ``others`` is text of files beside it, which help where this one has few letters beyond ASCII.
    """
    encoding = next((name for mark, name in _BYTE_ORDER_MARKS.items() if data.startswith(mark)), "utf-8")
    if encoding == "utf-8" and b"\0" in data[:_SAMPLE_BYTES]:
        encoding = _unmarked(data[:_SAMPLE_BYTES])
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8":
            reason = f"it says that it is {encoding}, but it is not: {error.reason}"
            findings.add("csv_broken", place, reason=reason)
            return None
        return _guessed(data, place, findings, others)
    if "\0" in text:
        findings.add("csv_broken", place, reason="it holds null characters, so it is no text")
        return None
    return text


def _guessed(data: bytes, place: Place, findings: Findings, others: bytes) -> str | None:
    encoding = _guess(data[:_GUESSED_FROM] + b"\n" + others[:_GUESSED_FROM], data)
    if not encoding:
        at = next(i for i, byte in enumerate(data) if byte > 0x7F)
        try:
            data.decode("cp1252")
        except UnicodeDecodeError as error:
            at = error.start
        findings.add("csv_undecodable", place, line=data.count(b"\n", 0, at) + 1, byte=data[at])
        return None
    text = data.decode(encoding)
    if "\0" in text:
        findings.add("csv_broken", place, reason="it holds null characters, so it is no text")
        return None
    findings.add("csv_encoding", place, encoding=_NAMES[encoding])
    return text


def _guess(sample: bytes, whole: bytes) -> str:
    """Return the likeliest encoding that decodes all of ``whole``; blank if there is none."""
    if sum(byte > 0x7F for byte in sample) < _FEW:
        return "cp1252" if _decodes(whole, "cp1252") else ""
    from charset_normalizer import from_bytes

    matches = from_bytes(sample, cp_isolation=list(_NAMES), threshold=0.5, preemptive_behaviour=False)
    fitting = [match.encoding for match in matches if _decodes(whole, match.encoding)]
    usual = [name for name in _NAMES if _decodes(whole, name)]
    likeliest = next(iter([*fitting, *usual]), "")
    # Of few letters the guess may make signs, box lines, where the most usual encoding has words.
    if usual and _letters(whole, likeliest) < _letters(whole, usual[0]):
        likeliest = usual[0]
    return next((name for name in usual if whole.decode(name) == whole.decode(likeliest)), likeliest)


def _letters(data: bytes, encoding: str) -> float:
    """Return which share of the characters beyond ASCII are letters."""
    beyond = [character for character in data.decode(encoding) if not character.isascii()]
    return sum(map(str.isalpha, beyond)) / max(1, len(beyond))


def is_utf8(data: bytes) -> bool:
    """Return whether bytes are UTF-8, as ASCII is too."""
    return _decodes(data, "utf-8")


def _decodes(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _unmarked(start: bytes) -> str:
    """Return which UTF-16 text without a mark is: of Latin letters and digits every other byte is nought."""
    noughts = [start[parity::2].count(0) / max(len(start[parity::2]), 1) for parity in (0, 1)]
    if max(noughts) > _MOSTLY and min(noughts) < 1 - _MOSTLY:
        return "utf-16-be" if noughts[0] > noughts[1] else "utf-16-le"
    return "utf-8"
