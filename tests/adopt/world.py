"""An invented fleet drawn from a seed: what the workbooks of `tests.adopt.trades` tell, each in its own way."""

import random
from dataclasses import dataclass, field

_TOWNS = """Alderby Birchwick Cedarholm Dunmoor Elmstead Fernleigh Gorseby Hazelford Ivybridge Juniperhill
Kestrelby Larchden Mossgate Nettlecombe Oakhurst Pinewick Quarrydale Rowanby Sedgeford Thornley
Upwell Vetchley Willowby Yewdale"""
TOWNS = _TOWNS.split()
_STREETS = """Mill Church Station Harbour Castle Garden Bridge Market North South Orchard Quarry Chapel Canal"""
STREETS = _STREETS.split()
HUBS = {
    "ESK": ("Eskdale", 54.41, -3.22),
    "ROV": ("Roveholt", 52.1, 0.35),
    "LDS": ("Lindisford", 53.8, -1.55),
    "KAT": ("Katrine Moor", 56.25, -4.5),
    "WEX": ("Wexcombe", 51.2, -1.6),
    "DUN": ("Dunsop Vale", 53.95, -2.5),
    "TYN": ("Tynewater", 54.98, -1.45),
    "SEV": ("Severnside", 51.55, -2.7),
}
REGIONS = ("North", "Middle", "South")


@dataclass(frozen=True)
class Site:
    """One branch as it truly is."""

    id: str
    name: str
    region: str
    latitude: float
    longitude: float
    clusters: int
    release: str
    today: str  # hub id, blank if none
    host: str
    status: str
    rtt: dict[str, float]


@dataclass(frozen=True)
class World:
    """A fleet with everything that its workbook must lead back to."""

    sites: tuple[Site, ...]
    hubs: tuple[str, ...]
    max_hosts: dict[str, int]
    rng: random.Random = field(compare=False)

    @property
    def planned(self):
        """Sites that are neither closed nor only planned."""
        return [site for site in self.sites if site.status == "live"]


def world(seed, number, hubs=6, id_of=lambda k: f"{k:04}", missing=0.03):
    """Return a fleet of ``number`` branches drawn from ``seed``; a share ``missing`` of pairs was never measured."""
    rng = random.Random(seed)
    chosen = tuple(rng.sample(sorted(HUBS), hubs))
    counts = dict.fromkeys(chosen, 0)
    sites, names = [], set()
    for k in range(1, number + 1):
        name = f"{rng.choice(TOWNS)} {rng.choice(STREETS)}"
        while name in names:
            name = f"{rng.choice(TOWNS)} {rng.choice(STREETS)} {len(names)}"
        names.add(name)
        latitude, longitude = round(rng.uniform(50.5, 57.5), 5), round(rng.uniform(-4.9, 1.2), 5)
        rtt = {}
        for hub in chosen:
            _, y, x = HUBS[hub]
            km = 111 * ((latitude - y) ** 2 + (0.58 * (longitude - x)) ** 2) ** 0.5
            if rng.random() > missing:
                rtt[hub] = round(3 + km * 0.035 + rng.expovariate(0.5), 2)
        today = min(rtt, key=rtt.get) if rtt and rng.random() > 0.1 else ""
        counts[today] = counts.get(today, 0) + 1
        host = f"{today}-TB{1 + counts[today] // 55}" if today else ""
        release = rng.choice(["8.2", "8.4", "8.4", "8.4.1", "8.10", "8.10"])
        clusters = rng.choice([1, 1, 1, 1, 2, 3])
        status = rng.choices(["live", "closed", "planned"], [0.9, 0.05, 0.05])[0]
        region = REGIONS[min(2, int((57.5 - latitude) / 2.34))]
        sites.append(Site(id_of(k), name, region, latitude, longitude, clusters, release, today, host, status, rtt))
    return World(tuple(sites), chosen, {hub: rng.randint(4, 9) for hub in chosen}, rng)
