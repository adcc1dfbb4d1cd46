"""Five workbooks of five invented trades, as five inventories export them: none has a name that the planner knows.

Each maker returns the sheets as rows of cells, how to write them, and the world that they tell.
"""

import csv
from dataclasses import dataclass, replace

import openpyxl

from tests.adopt.world import HUBS, world

BLANK = ""


@dataclass(frozen=True)
class Book:
    """A workbook as rows of cells by sheet, the file that it is, and what is true."""

    name: str
    sheets: dict
    world: object
    kind: str = "xlsx"  # or a folder of csv files, with separator and encoding
    merged: tuple = ()
    clusters_known: bool = True


def hub_rows(world):
    """Return for each hub its id, name, latitude, longitude and room for hosts."""
    return [(hub, *HUBS[hub], world.max_hosts[hub]) for hub in world.hubs]


def running(world, hub):
    """Return how many hosts run at a hub today."""
    return len({site.host for site in world.sites if site.today == hub})


def pharmacies(number=600):
    """Titles, two rows of header, hub names, totals, footnotes, a matrix beside a re-measured list; 600 branches."""
    w = world(1801, number)
    name = {hub: HUBS[hub][0] for hub in w.hubs}
    said = {"live": "Trading", "closed": "Closed", "planned": "Planned 2027"}
    master = [
        ["Branch master - extract for infrastructure"],
        ["Run date: 2026-11-02", BLANK, BLANK, "Source: estate inventory"],
        [],
        ["Branch", BLANK, BLANK, BLANK, "Cluster platform", BLANK, "Served", BLANK, "Position", BLANK],
        ["Branch No.", "Trading name", "Territory", "Life cycle status", "Clusters (2N)", "SW level", "DC today",
         "TB host", "Lat.", "Long."],
    ]  # fmt: skip
    for region in ("North", "Middle", "South"):
        master.append([f"Territory {region}"])
        for s in (s for s in w.sites if s.region == region):
            today = name[s.today] if s.today else BLANK
            master.append(
                [
                    s.id,
                    s.name,
                    s.region,
                    said[s.status],
                    s.clusters,
                    f"V{s.release}",
                    today,
                    s.host,
                    s.latitude,
                    s.longitude,
                ]
            )
        count = sum(s.region == region for s in w.sites)
        master.append([f"Subtotal {region}", BLANK, BLANK, count])
    master += [
        ["Total", BLANK, BLANK, len(w.sites), sum(s.clusters for s in w.sites)],
        [],
        ["* Lat./Long. are those of the front door."],
        ["Figures without guarantee."],
    ]
    centres = [["Data centres that can house tie-breaker hosts"], [], ["DC code", "DC name", "Rack space for TB hosts",
        "TB hosts running", "Lat.", "Long."]]  # fmt: skip
    centres += [[hub, label, room, running(w, hub), lat, lon] for hub, label, lat, lon, room in hub_rows(w)]
    centres.append(["Sum", BLANK, sum(w.max_hosts.values()), sum(running(w, hub) for hub in w.hubs)])
    matrix = [["Network round trip, campaign spring 2026"], ["all values in ms"], [], ["Branch", *name.values()]]
    again = {}
    new = [["Re-measured after the carrier change"], [], ["Branch", "Data centre", "RTT (ms)", "Measured on"]]
    for s in w.sites:
        row = [s.id]
        for hub in w.hubs:
            true = s.rtt.get(hub)
            if true is None:
                row.append("n/a")
            elif w.rng.random() < 0.02:
                again[s.id, hub] = true
                row.append(round(true * 1.7, 2))
                new.append([s.id, name[hub], true, "2026-10-20"])
            else:
                row.append(true)
        matrix.append(row)
    matrix.append(["Average", *[20.5] * len(w.hubs)])
    rules = [["Planning rules"], [], ["Max clusters per TB host", 64], ["Headroom %", 10], ["RTT limit (ms)", 40],
        ["Approved by", "Infrastructure board"]]  # fmt: skip
    sheets = {"Read me": [["Extract of 2026-11-02."], ["Questions: estate desk."]], "Branch master": master,
        "Data centres": centres, "RTT matrix": matrix, "RTT re-measured": new, "Rules": rules}  # fmt: skip
    return Book("pharmacies", sheets, w)


def grocers(number=180):
    """German CSV files: semicolons, decimal commas also in the matrix, Windows encoding."""
    w = world(1802, number, hubs=4, id_of=lambda k: f"{k + 100}")
    comma = lambda x: BLANK if x is None else f"{x}".replace(".", ",")  # noqa: E731
    said = {"live": "in Betrieb", "closed": "geschlossen", "planned": "geplant"}
    stamm = [["Filialnummer", "Bezeichnung", "Gebiet", "Zustand", "Anzahl Verbünde", "Softwarestand", "Breitengrad",
        "Längengrad", "Bemerkung"]]  # fmt: skip
    for s in w.sites:
        stamm.append([s.id, s.name, s.region, said[s.status], s.clusters, s.release, comma(s.latitude),
            comma(s.longitude), w.rng.choice(["", "", "Umbau; siehe Akte", "größer"])])  # fmt: skip
    stamm.append(["Summe", BLANK, BLANK, BLANK, sum(s.clusters for s in w.sites)])
    zentren = [["RZ-Kürzel", "Rechenzentrum", "Stellplätze für Hosts", "vorhandene Hosts", "Softwarestand Hosts"]]
    zentren += [[hub, label, room, running(w, hub), "8.10"] for hub, label, _, _, room in hub_rows(w)]
    zeiten = [["Filiale", *w.hubs]]
    zeiten += [[s.id, *(comma(s.rtt.get(hub)) for hub in w.hubs)] for s in w.sites]
    heute = [["Filiale", "zugeordnet zu RZ", "Stichentscheid-Host"]]
    heute += [[s.id, s.today, s.host] for s in w.sites if s.today]
    vorgaben = [["Vorgabe", "Wert"], ["Höchste Laufzeit (ms)", "40"], ["Max. Verbünde je Host", "48"],
        ["Freizuhalten in Prozent", "12,5"], ["Mindest-Softwarestand", "8.2"]]  # fmt: skip
    sheets = {"Filialstamm": stamm, "Zentren": zentren, "Laufzeiten": zeiten, "Zuordnung heute": heute,
        "Vorgaben": vorgaben}  # fmt: skip
    return Book("grocers", sheets, w, "csv")


def bank_agencies(number=150):
    """French; times one way in seconds, two campaigns by date; hubs by name; ids with a prefix."""
    w = world(1803, number, hubs=5, id_of=lambda k: f"AG-{k * 7:05}")
    name = {hub: HUBS[hub][0] for hub in w.hubs}
    said = {"live": "En service", "closed": "Fermée", "planned": "Projet"}
    agences = [["Liste des agences"], ["État au 02/11/2026"], [], ["Code agence", "Libellé", "Région", "État",
        "Nb de grappes", "Version logiciel", "Centre actuel", "Latence max (ms)"]]  # fmt: skip
    for s in w.sites:
        agences.append([s.id, s.name, s.region, said[s.status], s.clusters, s.release,
            name[s.today] if s.today else "-", 45])  # fmt: skip
    agences += [[], ["Nombre d'agences :", len(w.sites)], ["Source : inventaire du parc"]]
    centres = [["Centres informatiques"], ["Sigle", "Nom du centre", "Places pour hôtes", "Hôtes installés"]]
    centres += [[hub, label, room, running(w, hub)] for hub, label, _, _, room in hub_rows(w)]
    first = [["Mesures, aller simple"], ["Agence", "Centre", "Latence [s]", "Perte %", "Date de mesure"]]
    second = [["Mesures, aller simple"], ["Agence", "Centre", "Latence [s]", "Perte %", "Date de mesure"]]
    for s in w.sites:
        for hub, true in s.rtt.items():
            half = round(true / 2000, 6)
            late = w.rng.random() < 0.3
            first.append([s.id, name[hub], round(half * 1.5, 6) if late else half, 0, "12/03/2026"])
            if late:
                second.append([s.id, name[hub], half, 0.1, "28/09/2026"])
    regles = [["Règles"], ["Nombre max de grappes par hôte", 60], ["Réserve (%)", 5]]
    sheets = {"Agences": agences, "Centres": centres, "Mesures 2026-03": first, "Mesures 2026-09": second,
        "Règles": regles}  # fmt: skip
    return Book("bank_agencies", sheets, w)


def fuel_stations(number=120):
    """Polish; a row for each cluster, a matrix with hubs down, hosts that hold the id of their hub."""
    w = world(1804, number, hubs=4, id_of=lambda k: f"ST{k:03}")
    stacje = [["Numer stacji", "Nazwa stacji", "Województwo", "Klaster", "Wersja oprogramowania", "Serwer TB obecny"]]
    for s in w.sites:
        for c in range(s.clusters):
            stacje.append([s.id, s.name, s.region, f"{s.id}-K{c + 1}", s.release, s.host])
    wezly = [["Kod centrum", "Nazwa centrum danych", "Miejsc na serwery TB", "Szerokość", "Długość"]]
    wezly += [[hub, label, room, lat, lon] for hub, label, lat, lon, room in hub_rows(w)]
    czasy = [["Opóźnienie RTT w ms"], ["Centrum", *[s.id for s in w.sites]]]
    for hub in w.hubs:
        czasy.append([hub, *[s.rtt.get(hub, "brak") for s in w.sites]])
    zasady = [["Maks. klastrów na serwer TB", 64], ["Dopuszczalne opóźnienie RTT (ms)", 42], ["Rezerwa %", 0]]
    sheets = {"Stacje": stacje, "Centra danych": wezly, "Czasy": czasy, "Zasady": zasady}
    everybody = replace(w, sites=tuple(replace(s, status="live") for s in w.sites))
    return Book("fuel_stations", sheets, everybody)


def masts(number=160):
    """One sheet for each region, times beside the masts under the names of hubs; hubs and rules on one sheet."""
    w = world(1805, number, hubs=5, id_of=lambda k: f"M{k:04}")
    w = replace(w, sites=tuple(replace(s, status="live") for s in w.sites))
    name = {hub: HUBS[hub][0] for hub in w.hubs}
    head = ["Mast ref", "Location", "Two-node clusters", "Firmware", *(f"RTT {name[h]} ms" for h in w.hubs),
        "Currently on", "Tie-breaker appliance"]  # fmt: skip
    sheets = {}
    for region in ("North", "Middle", "South"):
        rows = [[f"Masts {region}"], head]
        for s in (s for s in w.sites if s.region == region):
            times = [s.rtt.get(hub, "timeout") for hub in w.hubs]
            rows.append([s.id, s.name, s.clusters, s.release, *times, s.today, s.host])
        sheets[region] = rows
    hubs = [["Aggregation sites"], ["POP", "Name", "Max hosts", "Hosts in service", "Power feed"]]
    hubs += [[hub, label, room, running(w, hub), f"feed {hub[0]}"] for hub, label, _, _, room in hub_rows(w)]
    hubs += [[], ["Limits"], ["Clusters per host at most", 64], ["Round trip allowed", "38 ms"], ["Spare", "15 %"]]
    sheets["Core"] = hubs
    return Book("masts", sheets, w)


BOOKS = (pharmacies, grocers, bank_agencies, fuel_stations, masts)


def write(book, folder):
    """Write a book into ``folder`` and return its path."""
    if book.kind == "csv":
        path = folder / book.name
        path.mkdir(parents=True, exist_ok=True)
        for title, rows in book.sheets.items():
            with (path / f"{title}.csv").open("w", encoding="cp1252", newline="") as file:
                csv.writer(file, delimiter=";").writerows(rows)
        return path
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in book.sheets.items():
        sheet = made.create_sheet(title)
        for row in rows:
            sheet.append([None if cell == BLANK else cell for cell in row])
    path = folder / f"{book.name}.xlsx"
    made.save(path)
    return path
