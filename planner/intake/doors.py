"""Further doors: Parquet, JSON records, SQL and graphs -> raw sheets, which then go the one road of all tables.

Parquet needs ``pip install "castingvote[parquet]"`` and databases other than a SQLite file ``castingvote[sql]``.
"""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from defusedxml.ElementTree import fromstring

from planner.fleet import Source
from planner.intake.findings import Findings, Place
from planner.intake.rawtable import RawSheet

_SQLITE_MAGIC = b"SQLite format 3\0"
_LINK_COLUMNS = ("from", "to", "latency_ms", "km", "air_km")
# What attributes of edges are called elsewhere; values are one way, as on the sheet Links.
_LINK_WORDS: Mapping[str, str] = {
    **dict.fromkeys(("latency_ms", "latency", "delay", "delay_ms", "weight"), "latency_ms"),
    **dict.fromkeys(("km", "length", "length_km", "distance", "distance_km", "dist"), "km"),
    "air_km": "air_km",
}

Rows = list[list[Any]]
NO_QUERIES: Mapping[str, str] = {}


def sheets_of(path: Path, findings: Findings, queries: Mapping[str, str] = NO_QUERIES) -> list[RawSheet] | None:
    """Return the sheets of a file of one of these kinds; None if it is another kind of file.

    ``queries`` are asked of a database instead of all that its tables hold, each for the sheet of its title.
    """
    door = _DOORS.get(path.suffix.lower())
    if door is None and path.is_file():
        with path.open("rb") as file:
            door = _of_sqlite if file.read(len(_SQLITE_MAGIC)) == _SQLITE_MAGIC else None
    if door is None:
        return None
    try:
        found = _asked_of_sqlite(path, queries) if queries and door is _of_sqlite else door(path)
        return [RawSheet(path.name, title, rows) for title, rows in found]
    except ImportError:
        findings.add("door_closed", Place(path.name), extra="parquet")
    except _faults() as error:
        findings.add("door_broken", Place(path.name), reason=f"{error}" or type(error).__name__)
    except Exception as error:  # of pyarrow and of XML parsers, which have families of their own
        findings.add("door_broken", Place(path.name), reason=f"{type(error).__name__}: {error}")
    return []


def database_sheets(url: str, queries: Mapping[str, str], findings: Findings) -> tuple[list[RawSheet], Source | None]:
    """Return a sheet for each table of a database, and for each of ``queries`` by title, with what it rests on."""
    try:
        import sqlalchemy
    except ImportError:
        findings.add("door_closed", Place("database"), extra="sql")
        return [], None
    place = Place("database")
    try:
        address = sqlalchemy.engine.make_url(url)
        place = Place(address.render_as_string(hide_password=True))
        engine = sqlalchemy.create_engine(address, poolclass=sqlalchemy.pool.NullPool)  # nothing stays open
        with engine.connect() as connection:
            tables = sqlalchemy.inspect(connection).get_table_names()
            asked = dict(queries) or {name: f"SELECT * FROM {_quoted(engine, name)}" for name in tables}
            found = [_asked(connection.execute(sqlalchemy.text(text))) for text in asked.values()]
    except Exception as error:  # every driver raises errors of its own
        findings.add("door_broken", place, reason=f"{type(error).__name__}: {str(error).splitlines()[0]}")
        return [], None
    sheets = [RawSheet(place.file, title, rows) for title, rows in zip(asked, found, strict=True)]
    digest = hashlib.sha256(repr([sheet.cells for sheet in sheets]).encode()).hexdigest()
    return sheets, Source(place.file, digest)


def _quoted(engine: Any, name: str) -> str:
    return str(engine.dialect.identifier_preparer.quote(name))


def _asked(result: Any) -> Rows:
    return [list(result.keys()), *([_cell(value) for value in row] for row in result)]


def _faults() -> tuple[type[Exception], ...]:
    import sqlite3  # takes a while to load, and few fleets come from a database

    return ValueError, KeyError, TypeError, AttributeError, RecursionError, sqlite3.Error


def _of_sqlite(path: Path) -> Iterator[tuple[str, Rows]]:
    import sqlite3

    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        names = connection.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'view') ORDER BY name")
        for (name,) in names.fetchall():
            escaped = name.replace('"', '""')
            found = connection.execute(f'SELECT * FROM "{escaped}"')
            yield name, [[column[0] for column in found.description], *map(_cells, found.fetchall())]


def _asked_of_sqlite(path: Path, queries: Mapping[str, str]) -> Iterator[tuple[str, Rows]]:
    import sqlite3

    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        for title, text in queries.items():
            found = connection.execute(text)
            yield title, [[column[0] for column in found.description or ()], *map(_cells, found.fetchall())]


def _of_parquet(path: Path) -> Iterator[tuple[str, Rows]]:
    import pyarrow.parquet as parquet

    table = parquet.read_table(path)
    columns = [column.to_pylist() for column in table.columns]
    yield path.stem, [list(table.column_names), *(_cells(row) for row in zip(*columns, strict=True))]


def _of_json(path: Path) -> Iterator[tuple[str, Rows]]:
    document = json.loads(path.read_text(encoding="utf-8-sig"))
    if isinstance(document, dict) and "nodes" in document and ("links" in document or "edges" in document):
        import networkx as nx

        graph = nx.MultiGraph()
        graph.add_nodes_from((node["id"], node) for node in document["nodes"])
        edges = document["links"] if "links" in document else document["edges"]
        graph.add_edges_from((edge["source"], edge["target"], dict(edge)) for edge in edges)
        yield "Links", _of_graph(graph)
        return
    sheets = document if isinstance(document, dict) else {path.stem: document}
    for title, records in sheets.items():
        if not isinstance(records, list) or not all(isinstance(one, dict) for one in records):
            raise ValueError(f"{title} is no list of records")
        yield title, _of_records(records)


def _of_json_lines(path: Path) -> Iterator[tuple[str, Rows]]:
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    yield path.stem, _of_records([json.loads(line) for line in lines if line.strip()])


def _of_records(records: Sequence[Mapping[str, Any]]) -> Rows:
    names = list(dict.fromkeys(name for record in records for name in record))
    return [names, *([_cell(record.get(name)) for name in names] for record in records)]


def _of_graphml(path: Path) -> Iterator[tuple[str, Rows]]:
    fromstring(path.read_bytes())  # refuses entities, which a file can make explode
    import networkx as nx

    try:
        graph = nx.read_graphml(path)
    except nx.NetworkXException as error:
        raise ValueError(str(error)) from error
    yield "Links", _of_graph(graph)


def _of_graph(graph: Any) -> Rows:
    """Return the edges of a graph as rows of Links; a node goes by its label where it has one."""
    names = {node: str(data.get("label") or node) for node, data in graph.nodes(data=True)}
    rows: Rows = [list(_LINK_COLUMNS)]
    for one, other, data in graph.edges(data=True):
        found = {_LINK_WORDS[key.casefold()]: value for key, value in data.items() if key.casefold() in _LINK_WORDS}
        rows.append([names[one], names[other], *(_cell(found.get(name)) for name in _LINK_COLUMNS[2:])])
    return rows


def _cells(row: Sequence[Any]) -> list[Any]:
    return [_cell(value) for value in row]


def _cell(value: Any) -> Any:
    """Return a value as a cell of a workbook has it: None as blank, whole numbers as floats, anything odd as text."""
    if value is None:
        return ""
    if isinstance(value, int) and not isinstance(value, bool):
        return float(value) if abs(value) < 2**53 else str(value)
    if isinstance(value, bytes | list | dict | tuple | set):
        return json.dumps(value, default=str) if not isinstance(value, bytes) else value.decode("utf-8", "replace")
    return value


_DOORS: Mapping[str, Callable[[Path], Iterator[tuple[str, Rows]]]] = {
    ".parquet": _of_parquet,
    ".json": _of_json,
    ".jsonl": _of_json_lines,
    ".ndjson": _of_json_lines,
    ".graphml": _of_graphml,
    ".sqlite": _of_sqlite,
    ".sqlite3": _of_sqlite,
    ".db": _of_sqlite,
}
ENDINGS = tuple(_DOORS)
