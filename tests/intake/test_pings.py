"""Saved output of ping: the grammar of each system, and folders as people fill them.

The samples are written after the public output formats of iputils, FreeBSD/macOS, BusyBox, Solaris, AIX and Windows,
from memory; addresses are those of RFC 5737 and RFC 3849.
"""

import os

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.intake import read_fleet
from planner.intake.ping_output import read_output
from planner.intake.pings import MOST_BYTES

LINUX = """PING esk (192.0.2.1) 56(84) bytes of data.
64 bytes from esk (192.0.2.1): icmp_seq=1 ttl=57 time=12.3 ms
64 bytes from esk (192.0.2.1): icmp_seq=3 ttl=57 time=13.1 ms
64 bytes from esk (192.0.2.1): icmp_seq=3 ttl=57 time=13.4 ms (DUP!)
From 198.51.100.7 icmp_seq=4 Destination Host Unreachable

--- esk ping statistics ---
4 packets transmitted, 2 received, +1 duplicates, +1 errors, 50% packet loss, time 3004ms
rtt min/avg/max/mdev = 12.300/12.700/13.100/0.400 ms
"""
LINUX_GERMAN = """PING esk (192.0.2.1) 56(84) Bytes an Daten.
64 Bytes von esk (192.0.2.1): icmp_seq=1 ttl=57 Zeit=0,845 ms
64 Bytes von esk (192.0.2.1): icmp_seq=2 ttl=57 Zeit=0,901 ms

--- esk ping-Statistik ---
2 Pakete übertragen, 2 empfangen, 0% Paketverlust, Zeit 1002ms
rtt min/avg/max/mdev = 0,845/0,873/0,901/0,028 ms
"""
LINUX_IPV6_STAMPED = """PING esk(2001:db8::1) 56 data bytes
[1780000000.123456] 64 bytes from 2001:db8::1: icmp_seq=1 ttl=57 time=8.01 ms
[1780000001.125456] 64 bytes from 2001:db8::1: icmp_seq=2 ttl=57 time=1003 ms

--- esk ping statistics ---
2 packets transmitted, 2 received, 0% packet loss, time 1001ms
"""
MACOS = """PING 192.0.2.1 (192.0.2.1): 56 data bytes
64 bytes from 192.0.2.1: icmp_seq=0 ttl=57 time=20.125 ms
Request timeout for icmp_seq 1
64 bytes from 192.0.2.1: icmp_seq=2 ttl=57 time=21.500 ms

--- 192.0.2.1 ping statistics ---
3 packets transmitted, 2 packets received, 33.3% packet loss
round-trip min/avg/max/stddev = 20.125/20.812/21.500/0.688 ms
"""
BSD_IPV6 = """PING6(56=40+8+8 bytes) 2001:db8::2 --> 2001:db8::1
16 bytes from 2001:db8::1, icmp_seq=0 hlim=57 time=5.250 ms

--- 2001:db8::1 ping6 statistics ---
1 packets transmitted, 1 packets received, 0.0% packet loss
"""
BUSYBOX = """PING 192.0.2.1 (192.0.2.1): 56 data bytes
64 bytes from 192.0.2.1: seq=0 ttl=57 time=14.204 ms
64 bytes from 192.0.2.1: seq=1 ttl=57 time=14.118 ms

--- 192.0.2.1 ping statistics ---
3 packets transmitted, 2 packets received, 33% packet loss
round-trip min/avg/max = 14.118/14.161/14.204 ms
"""
SOLARIS = """PING esk: 56 data bytes
64 bytes from esk (192.0.2.1): icmp_seq=0. time=12. ms
64 bytes from esk (192.0.2.1): icmp_seq=1. time=13.42 ms

----esk PING Statistics----
2 packets transmitted, 2 packets received, 0% packet loss
"""
AIX = """PING esk: (192.0.2.1): 56 data bytes
64 bytes from 192.0.2.1: icmp_seq=0 ttl=255 time=0 ms
64 bytes from 192.0.2.1: icmp_seq=1 ttl=255 time=2 ms

----esk PING Statistics----
2 packets transmitted, 2 packets received, 0% packet loss
round-trip min/avg/max = 0/1/2 ms
"""
WINDOWS = """
Pinging 192.0.2.1 with 32 bytes of data:
Reply from 192.0.2.1: bytes=32 time=12ms TTL=57
Reply from 192.0.2.1: bytes=32 time<1ms TTL=57
Request timed out.
Reply from 198.51.100.7: Destination host unreachable.

Ping statistics for 192.0.2.1:
    Packets: Sent = 4, Received = 3, Lost = 1 (25% loss),
Approximate round trip times in milli-seconds:
    Minimum = 0ms, Maximum = 12ms, Average = 6ms
"""
WINDOWS_IPV6 = """Pinging 2001:db8::1 with 32 bytes of data:
Reply from 2001:db8::1: time=9ms

Ping statistics for 2001:db8::1:
    Packets: Sent = 1, Received = 1, Lost = 0 (0% loss),
Approximate round trip times in milli-seconds:
    Minimum = 9ms, Maximum = 9ms, Average = 9ms
"""


def windows(announce, reply, silence, of, count, times):
    """The same run of three probes in the words of a language: 12 ms, 14 ms, one lost."""
    return "\n".join([announce, reply.format(12), silence, reply.format(14), "", of, count, times])


LANGUAGES = {
    "german": windows(
        "Ping wird ausgeführt für 192.0.2.1 mit 32 Bytes Daten:",
        "Antwort von 192.0.2.1: Bytes=32 Zeit={}ms TTL=57",
        "Zeitüberschreitung der Anforderung.",
        "Ping-Statistik für 192.0.2.1:",
        "    Pakete: Gesendet = 3, Empfangen = 2, Verloren = 1\n    (33% Verlust),",
        "Ca. Zeitangaben in Millisek.:\n    Minimum = 12ms, Maximum = 14ms, Mittelwert = 13ms",
    ),
    "french": windows(
        "Envoi d’une requête 'Ping'  192.0.2.1 avec 32 octets de données :",
        "Réponse de 192.0.2.1 : octets=32 temps={} ms TTL=57",
        "Délai d’attente de la demande dépassé.",
        "Statistiques Ping pour 192.0.2.1:",
        "    Paquets : envoyés = 3, reçus = 2, perdus = 1 (perte 33%),",
        "Durée approximative des boucles en millisecondes :\n    Minimum = 12ms, Maximum = 14ms, Moyenne = 13ms",
    ),
    "spanish": windows(
        "Haciendo ping a 192.0.2.1 con 32 bytes de datos:",
        "Respuesta desde 192.0.2.1: bytes=32 tiempo={}ms TTL=57",
        "Tiempo de espera agotado para esta solicitud.",
        "Estadísticas de ping para 192.0.2.1:",
        "    Paquetes: enviados = 3, recibidos = 2, perdidos = 1\n    (33% perdidos),",
        "Tiempos aproximados de ida y vuelta en milisegundos:\n    Mínimo = 12ms, Máximo = 14ms, Media = 13ms",
    ),
    "russian": windows(
        "Обмен пакетами с 192.0.2.1 по с 32 байтами данных:",
        "Ответ от 192.0.2.1: число байт=32 время={}мс TTL=57",
        "Превышен интервал ожидания для запроса.",
        "Статистика Ping для 192.0.2.1:",
        "    Пакетов: отправлено = 3, получено = 2, потеряно = 1\n    (33% потерь)",
        "Приблизительное время приема-передачи в мс:\n"
        "    Минимальное = 12мсек, Максимальное = 14 мсек, Среднее = 13 мсек",
    ),
    "japanese": windows(
        "192.0.2.1 に ping を送信しています 32 バイトのデータ:",
        "192.0.2.1 からの応答: バイト数 =32 時間 ={}ms TTL=57",
        "要求がタイムアウトしました。",
        "192.0.2.1 の ping 統計:",
        "    パケット数: 送信 = 3、受信 = 2、損失 = 1 (33% の損失)、",
        "ラウンド トリップの概算時間 (ミリ秒):\n    最小 = 12ms、最大 = 14ms、平均 = 13ms",
    ),
}


@pytest.mark.parametrize(
    ("text", "rtt_ms", "lost"),
    [
        (LINUX, [12.3, 13.1], 2),
        (LINUX_GERMAN, [0.845, 0.901], 0),
        (LINUX_IPV6_STAMPED, [8.01, 1003.0], 0),
        (MACOS, [20.125, 21.5], 1),
        (BSD_IPV6, [5.25], 0),
        (BUSYBOX, [14.204, 14.118], 1),
        (SOLARIS, [12.0, 13.42], 0),
        (AIX, [1.0, 2.0], 0),  # below the unit is read as the unit, the larger figure
        (WINDOWS, [12.0, 1.0], 2),  # what a router answers is no reply, though Windows counts it as one
        (WINDOWS_IPV6, [9.0], 0),
        (LINUX + LINUX, [12.3, 13.1] * 2, 4),  # two runs, one after the other
        *((text, [12.0, 14.0], 1) for text in LANGUAGES.values()),
    ],
)
def test_replies_and_losses_of_each_system(text, rtt_ms, lost):
    for line_end in ("\n", "\r\n"):
        probes = read_output(text.replace("\n", line_end))
        assert (probes.rtt_ms, probes.lost, probes.unlisted, probes.cut) == (rtt_ms, lost, 0, False)


@pytest.mark.parametrize(
    ("text", "rtt_ms", "lost"),
    [
        (LINUX, [12.3, 13.1], 2),  # sequence 2 is a gap, 4 has an answer that is none
        (MACOS, [20.125, 21.5], 1),
        (LANGUAGES["german"], [12.0, 14.0], 1),  # no sequence numbers: the lines between replies
    ],
)
def test_a_run_that_was_cut_off_is_told_by_its_lines(text, rtt_ms, lost):
    probes = read_output(text.split("\n\n")[0])
    assert (probes.rtt_ms, probes.lost, probes.cut) == (rtt_ms, lost, True)


def test_the_time_comes_from_the_stamps_or_from_a_line_of_its_own():
    assert str(read_output(LINUX_IPV6_STAMPED).at) == "2026-05-28 20:26:41"
    assert str(read_output("2026-11-20T10:00:00+01:00\n" + LINUX).at) == "2026-11-20 09:00:00"
    assert str(read_output("2026-11-20\n" + LINUX).at) == "2026-11-20 00:00:00"
    assert read_output("2026-13-45\n" + LINUX).at is None


def test_silenced_output_tells_no_times():
    quiet = "--- esk ping statistics ---\n10 packets transmitted, 9 received, 10% packet loss, time 9012ms\n"
    assert (read_output(quiet).unlisted, read_output(quiet).lost) == (9, 1)


@given(st.text(max_size=400) | st.lists(st.sampled_from((LINUX + WINDOWS + MACOS).splitlines())).map("\n".join))
def test_no_text_raises_and_no_time_is_absurd(text):
    probes = read_output(text)
    assert probes.lost >= 0
    assert all(0 < rtt_ms <= 60_000 for rtt_ms in probes.rtt_ms)


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "probes"
    folder.mkdir()

    def fill(**files):
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.encode()
            (folder / f"{name}.txt").write_bytes(data)
        return folder

    return fill


@pytest.fixture
def no_latency(rows):
    rows.pop("Latency")
    rows["Policy"] += [["percentile", 50], ["max_loss_percent", 60]]
    return rows


def test_probes_of_a_folder_become_samples(no_latency, writers, folder, tmp_path):
    pings = folder(**{"0001__ESK": LINUX, "0002__ROV": WINDOWS.encode("utf-16"), "3__ESK": BUSYBOX})
    pings.joinpath("0003__ROV.txt").write_bytes(LANGUAGES["russian"].encode("cp866"))
    fleet = read_fleet(writers["xlsx"](tmp_path / "fleet.xlsx", no_latency), pings=pings)
    count = fleet.samples.astype({"site": str, "hub": str}).groupby(["site", "hub"])["rtt_ms"].agg(["size", "count"])
    assert count.to_dict("index") == {
        ("0001", "ESK"): {"size": 4, "count": 2},
        ("0002", "ROV"): {"size": 4, "count": 2},
        ("0003", "ESK"): {"size": 3, "count": 2},
        ("0003", "ROV"): {"size": 3, "count": 2},
    }
    assert [source.name for source in fleet.sources] == ["fleet.xlsx", "probes/ (4 files)"]
    assert {f.code for f in fleet.findings} >= {"id_repaired", "ping_rounded"}
    again = read_fleet(tmp_path / "fleet.xlsx", pings=pings)
    assert again.sources == fleet.sources
    pings.joinpath("0001__ESK.txt").write_text(BUSYBOX)
    assert read_fleet(tmp_path / "fleet.xlsx", pings=pings).sources != fleet.sources


def test_a_folder_pings_beside_the_sheets_is_read_and_joins_the_samples(no_latency, writers, tmp_path):
    no_latency["Samples"] = [["site", "hub", "at", "rtt_ms"], ["0001", "ESK", "2026-11-01", 30]]
    fleet = writers["csv"](tmp_path / "fleet", no_latency)
    (fleet / "pings").mkdir()
    (fleet / "pings" / "0001__ESK.txt").write_text(LINUX)
    for named in (None, fleet / "pings"):  # named as well, it counts once
        samples = read_fleet(fleet, pings=named).samples
        assert sorted(samples["rtt_ms"].dropna()) == [12.3, 13.1, 30]
        assert samples["rtt_ms"].isna().sum() == 2
        assert isinstance(samples["site"].dtype, pd.CategoricalDtype)


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("0001__ESK.txt", b"", "ping_unreadable"),
        ("0001__ESK.txt", b"ping: esk: Name or service not known\n", "ping_unreadable"),
        ("0001__ESK.txt", b"\x00\xff" * 500, "ping_unreadable"),
        ("0001__ESK.txt", b"5 packets transmitted, 5 received, 0% packet loss, time 4ms\n", "ping_unlisted"),
        ("0001__ESK.txt", b"x" * (MOST_BYTES + 1), "ping_refused"),
        ("notes.txt", b"hello", "ping_name"),
        ("0001__ESK.log", LINUX.encode(), "ping_name"),
        ("0001__ESK__x.txt", LINUX.encode(), "ping_name"),
        ("__.txt", LINUX.encode(), "ping_name"),
        ("9999__ESK.txt", LINUX.encode(), "site_unknown"),
        ("0001__NOWHERE.txt", LINUX.encode(), "hub_unknown"),
        ("=1+1__\x1b[31m.txt", LINUX.encode(), "site_unknown"),
        ("ESK__0001.txt", LINUX.encode(), "direction_reversed"),
        ("0001__ESK.txt", LINUX.split("\n\n")[0].encode(), "ping_cut"),
    ],
)
def test_a_file_that_is_not_as_it_should_be_is_a_finding_with_its_name(
    rows, writers, folder, outcome, tmp_path, name, content, code
):
    pings = folder()
    (pings / name).write_bytes(content)
    got = outcome(read_fleet, writers["xlsx"](tmp_path / "fleet.xlsx", rows), pings=pings)
    assert got.fleet is not None
    (finding,) = got.of(code)
    assert name.split(".")[0].replace("\x1b", "") in f"{finding}".replace("\x1b", "")


def test_links_and_pipes_are_not_followed(rows, writers, folder, outcome, tmp_path):
    pings = folder()
    secret = tmp_path / "elsewhere.txt"
    secret.write_text(LINUX)
    (pings / "0001__ESK.txt").symlink_to(secret)
    os.mkfifo(pings / "0002__ESK.txt")
    got = outcome(read_fleet, writers["xlsx"](tmp_path / "fleet.xlsx", rows), pings=pings)
    assert len(got.of("ping_refused")) == 2
    assert len(got.fleet.samples) == 0


def test_a_folder_that_is_missing_stops_the_reading_and_an_empty_one_does_not(rows, writers, folder, outcome, tmp_path):
    path = writers["xlsx"](tmp_path / "fleet.xlsx", rows)
    assert outcome(read_fleet, path, pings=tmp_path / "nowhere").only("file_missing").severity == "error"
    assert outcome(read_fleet, path, pings=folder()).only("pings_none").severity == "warning"


def test_a_thousand_files_are_read_in_a_moment(writers, folder, tmp_path):
    sites = [f"{i:04d}" for i in range(1000)]
    tables = {
        "Sites": [["site", "latency_budget_ms"], *([s, 40] for s in sites)],
        "Hubs": [["hub"], ["ESK"]],
    }
    pings = folder(**{f"{s}__ESK": LINUX for s in sites})
    fleet = read_fleet(writers["csv"](tmp_path / "fleet", tables), pings=pings)
    assert len(fleet.samples) == 4000
    assert np.isnan(fleet.samples["rtt_ms"]).sum() == 2000
