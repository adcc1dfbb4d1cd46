"""A folder of saved ping output, one file SITE__HUB.txt for each pair -> rows of the sheet Samples.

Only regular files of the folder itself are read, links are not followed, and each up to a limit. A file that tells of
no probes is left out with a finding: its pair stays unknown, which is safe.
"""

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from planner.columns import SAMPLES
from planner.fleet import Source, typed_table
from planner.intake.findings import Findings, Place, show
from planner.intake.ids import KnownIds, resolve
from planner.intake.pairrows import PairRows
from planner.intake.ping_output import Probes, read_output
from planner.intake.rawtable import RawTable, tidy

MOST_BYTES = 10_000_000  # some 100,000 probes
MOST_FILES = 200_000
_MOST_PROBES = 20_000_000
_BETWEEN = "__"
_BYTE_ORDER_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}


@dataclass(slots=True)
class _Rows:
    site: list[int] = field(default_factory=list)
    hub: list[int] = field(default_factory=list)
    at: list[object] = field(default_factory=list)
    probes: list[Probes] = field(default_factory=list)


def read_pings(folder: Path, sites: KnownIds, hubs: KnownIds, findings: Findings) -> tuple[PairRows | None, Source]:
    """Return the probes that the files of ``folder`` tell of, and the folder as a source; None where there are none.

    A file HUB__SITE.txt, sent from the other end, counts for the same pair.
    """
    place, digest, rows, total = Place(f"{folder.name}/"), hashlib.sha256(), _Rows(), 0
    try:
        files = sorted(path for path in folder.iterdir() if path.name[0] != "." and not path.is_dir())
    except FileNotFoundError:
        findings.add("file_missing", place)
        files = []
    except OSError as error:
        findings.add("file_unreadable", place, reason=error.strerror or type(error).__name__)
        files = []
    else:
        if not files:
            findings.add("pings_none", place)
    if len(files) > MOST_FILES:
        findings.add("file_too_big", place, reason=f"it holds more than {MOST_FILES:,} files")
        files = []
    for path in files:
        pair = _pair(path, sites, hubs, findings)
        data = _content(path, findings) if pair is not None else None
        if pair is None or data is None:
            continue
        digest.update(path.name.encode("utf-8", "surrogateescape") + b"\0" + hashlib.sha256(data).digest())
        probes = read_output(_decoded(data))
        if _is_sound(probes, _place(path), findings) and total + len(probes) <= _MOST_PROBES:
            total += len(probes)
            rows.site.append(pair[0])
            rows.hub.append(pair[1])
            rows.probes.append(probes)
    source = Source(f"{folder.name}/ ({len(files):,} files)", digest.hexdigest())
    return (_table(rows, folder.name, sites, hubs) if rows.probes else None), source


def _place(path: Path) -> Place:
    # Names of files are text from outside like any cell, and may not even be text.
    return Place(path.name.encode("utf-8", "replace").decode()[:120])


def _pair(path: Path, sites: KnownIds, hubs: KnownIds, findings: Findings) -> tuple[int, int] | None:
    """Return the positions of the site and hub that the file's name says; None, with a finding, where it does not."""
    place = _place(path)
    names = [tidy(part) for part in place.file.removesuffix(path.suffix).split(_BETWEEN)]
    if path.suffix.lower() != ".txt" or len(names) != 2 or not all(names):
        findings.add("ping_name", place)
        return None
    one, other = names
    if one not in sites.at and other not in hubs.at and one in hubs.at and other in sites.at:
        findings.note("direction_reversed", Place(f"{path.parent.name}/", label=place.file))
        one, other = other, one
    site = resolve(one, sites, place, "site", findings, "site_unknown")
    hub = resolve(other, hubs, place, "hub", findings, "hub_unknown")
    return (site, hub) if site >= 0 and hub >= 0 else None


def _content(path: Path, findings: Findings) -> bytes | None:
    place = _place(path)
    try:
        if path.is_symlink() or not path.is_file():
            findings.add("ping_refused", place, reason="it is a link or no regular file")
            return None
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        findings.add("ping_refused", place, reason=error.strerror or type(error).__name__)
        return None
    if len(data) > MOST_BYTES:
        findings.add("ping_refused", place, reason=f"it has more than {MOST_BYTES / 1e6:.0f} MB")
        return None
    return data


def _decoded(data: bytes) -> str:
    """Return the text; only its ASCII part and the Russian unit matter, so any code page that keeps these will do."""
    encoding = next((name for mark, name in _BYTE_ORDER_MARKS.items() if data.startswith(mark)), "utf-8")
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return data.decode("cp866" if encoding == "utf-8" else encoding, "replace")


def _is_sound(probes: Probes, place: Place, findings: Findings) -> bool:
    if probes.unlisted:
        findings.add("ping_unlisted", place, replies=probes.unlisted)
        return False
    if not len(probes):
        findings.add("ping_unreadable", place)
        return False
    folder = Place(label=place.file)
    if probes.cut:
        findings.note("ping_cut", folder)
    if probes.rounded:
        findings.note("ping_rounded", folder, example=show(min(probes.rtt_ms)))
    return True


def _table(rows: _Rows, folder: str, sites: KnownIds, hubs: KnownIds) -> PairRows:
    counts = [len(probes) for probes in rows.probes]
    site = np.repeat(np.array(rows.site, dtype=np.int64), counts)
    hub = np.repeat(np.array(rows.hub, dtype=np.int64), counts)
    at = np.repeat(np.array([probes.at for probes in rows.probes], dtype="datetime64[us]"), counts)
    rtt_ms = np.concatenate([np.array(probes.rtt_ms + [np.nan] * probes.lost) for probes in rows.probes])
    values = {
        "site": pd.Categorical.from_codes(site, categories=pd.Index(sites.ids, dtype=object)),
        "hub": pd.Categorical.from_codes(hub, categories=pd.Index(hubs.ids, dtype=object)),
        "at": at,
        "rtt_ms": rtt_ms,
    }
    raw = RawTable(f"{folder}/", "", (), (), np.arange(len(site), dtype=np.int64))
    none = np.zeros(len(site), dtype=np.int64)
    return PairRows(raw, typed_table(SAMPLES, values), site, hub, none, none)
