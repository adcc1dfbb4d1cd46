"""What the ping programs of the major systems print -> probes, by the structure of their lines and not by their words.

The words differ by system and language, the figures do not (public output of iputils on GNU/Linux, BSD and macOS,
BusyBox, Solaris, AIX and Windows):

    64 bytes from 10.0.0.1: icmp_seq=1 ttl=57 time=12.3 ms          a reply: one "=12.3 ms" or "<1ms" in the line
    Antwort von 10.0.0.1: Bytes=32 Zeit<1ms TTL=57                  the same
    Minimum = 12ms, Maximum = 14ms, Mittelwert = 13ms               no reply: several of them
    5 packets transmitted, 4 received, 20% packet loss, ...         the count: sent, received, %
    Pakete: Gesendet = 4, Empfangen = 3, Verloren = 1               the count: sent = received + lost

What was sent and has no reply in the text is lost. So a router's "Destination host unreachable", which Windows counts
as received, is lost as well. Where a run has no count, because it was cut off, gaps of the sequence numbers are lost,
or, without such numbers, the lines between replies.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field

_LONGEST_LINE = 400  # ping lines have some 80 characters
_SLOWEST_MS = 60_000.0
_SEQUENCE_WRAPS_AT = 65_536

_TIME = re.compile(r"([=<＝＜]) ?(\d{1,6}(?:[.,]\d{0,6})?) ?(?:ms|msec|мс)(?![a-z])", re.IGNORECASE)
_SEQUENCE = re.compile(r"(?:icmp_)?seq[ =](\d{1,9})", re.IGNORECASE)
_DUPLICATE = re.compile(r"\(DUP!?\)", re.IGNORECASE)
_UNIX_COUNT = re.compile(r"^(\d{1,9}) [^\d,]{1,60}, (\d{1,9})[ ,]")
_PERCENT = re.compile(r"(\d{1,3}(?:[.,]\d{1,6})?) ?%|% ?(\d{1,3}(?:[.,]\d{1,6})?)")
_WINDOWS_COUNT = re.compile(r"[=＝] ?(\d{1,9})(?![\d.,]*\d? ?ms)")
_STAMP = re.compile(r"^\[(\d{9,10})\.\d{1,9}\] ")
_DATE_LINE = re.compile(r"^(\d{4}-\d\d-\d\d)(?:[T ](\d\d:\d\d(?::\d\d)?)(?:[.,]\d+)?([+-]\d\d:?\d\d|Z)?)?$")


@dataclass(slots=True)
class Probes:
    """What a text says: round-trip times in ms of the replies, and how many probes were lost.

    ``at`` is when the last probe was sent, in UTC where the text says so, None where it is not told. ``rounded``
    counts replies told as below a unit, read as one unit; ``cut`` says that a run has no count at its end;
    ``unlisted`` counts replies that are counted but not listed.
    """

    rtt_ms: list[float] = field(default_factory=list)
    lost: int = 0
    at: dt.datetime | None = None
    rounded: int = 0
    cut: bool = False
    unlisted: int = 0

    def __len__(self) -> int:
        return len(self.rtt_ms) + self.lost


@dataclass(slots=True)
class _Run:
    """One call of the program: replies and silent lines so far."""

    replies: int = 0
    silent: int = 0
    seen: set[int] = field(default_factory=set)
    missed: set[int] = field(default_factory=set)

    def gaps(self) -> int:
        """Probes without reply, as far as the lines tell."""
        numbers = self.seen | self.missed
        if not numbers:
            return self.silent
        span = max(numbers) - min(numbers) + 1
        return max(0, min(span, _SEQUENCE_WRAPS_AT) - len(self.seen))


def read_output(text: str) -> Probes:
    """Return the probes that ``text`` tells of; several runs, one after the other, add up."""
    probes, run = Probes(), _Run()
    for line in map(str.strip, text.splitlines()):
        if not line or len(line) > _LONGEST_LINE:
            continue
        if stated := _count(line):
            _close(probes, run, stated)
            run = _Run()
        elif stamp := _DATE_LINE.match(line):
            probes.at = _later(probes.at, _moment(stamp))
        else:
            _read_line(probes, run, line)
    if run.replies or run.missed:  # cut off before the count
        probes.cut = True
        probes.lost += run.gaps()
    return probes


def _read_line(probes: Probes, run: _Run, line: str) -> None:
    if stamp := _STAMP.match(line):
        probes.at = _later(probes.at, dt.datetime.fromtimestamp(int(stamp[1]), dt.UTC).replace(tzinfo=None))
    times = _TIME.findall(line)
    number = _SEQUENCE.search(line)
    sequence = int(number[1]) if number else None
    if len(times) == 1:
        if _DUPLICATE.search(line) or (sequence is not None and sequence in run.seen):
            return
        rtt_ms, rounded = _milliseconds(*times[0])
        if rtt_ms > _SLOWEST_MS:
            return
        probes.rtt_ms.append(rtt_ms)
        probes.rounded += rounded
        run.replies += 1
        if sequence is not None:
            run.seen.add(sequence)
    elif not times and sequence is not None:
        run.missed.add(sequence)
    elif not times and not line.endswith(":"):  # the line that announces a run of Windows ends so
        run.silent += 1


def _close(probes: Probes, run: _Run, stated: tuple[int, int, bool]) -> None:
    """Add up a run that ends with its count (sent, received, whether every reply counted is one)."""
    sent, received, exact = stated
    probes.lost += max(0, sent - max(run.replies, received if exact else 0))
    if exact:
        probes.unlisted += max(0, received - run.replies)


def _count(line: str) -> tuple[int, int, bool] | None:
    """Return what a counting line says; None for any other line."""
    if (match := _UNIX_COUNT.match(line)) and (share := _PERCENT.search(line)):
        sent, received, percent = int(match[1]), int(match[2]), float((share[1] or share[2]).replace(",", "."))
        lost = 100.0 * (sent - received) / sent if sent else 0.0
        return (sent, received, True) if received <= sent and abs(lost - percent) <= 1.0 else None
    figures = [int(figure) for figure in _WINDOWS_COUNT.findall(line)]
    # The lost ones, too, are counted in the same line, in every language.
    if len(figures) == 3 and not _TIME.search(line) and figures[0] == figures[1] + figures[2]:
        return figures[0], figures[1], False
    return None


def _milliseconds(sign: str, digits: str) -> tuple[float, bool]:
    """Return the time, and whether it was told as below a unit: "<1" is read as 1, and 0 as one unit of its last digit.

    >>> _milliseconds("=", "12,3"), _milliseconds("<", "1"), _milliseconds("=", "0.00")
    ((12.3, False), (1.0, True), (0.01, True))
    """
    value = float(digits.replace(",", "."))
    if value > 0:
        return value, sign in "<＜"
    decimals = len(digits.replace(",", ".").partition(".")[2])
    return 10.0**-decimals, True


def _moment(match: re.Match[str]) -> dt.datetime | None:
    try:
        moment = dt.datetime.fromisoformat(f"{match[1]}T{match[2] or '00:00'}{match[3] or ''}")
    except ValueError:
        return None
    return moment if moment.tzinfo is None else moment.astimezone(dt.UTC).replace(tzinfo=None)


def _later(one: dt.datetime | None, other: dt.datetime | None) -> dt.datetime | None:
    return max((m for m in (one, other) if m is not None), default=None)
