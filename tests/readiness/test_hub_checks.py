"""What is asked of a site together with the hubs."""

NAN = float("nan")


def test_a_hub_in_the_failure_zone_of_the_site_is_no_third_location(bench):
    item = bench.site(zone=("feed",)).hub(zone=("feed", "ring")).only()
    assert (item.code, item.severity) == ("third_location", "open")
    assert item.detail == "hub N is in the same failure zone: feed"


def test_a_hub_that_is_the_site_is_no_third_location(bench):
    bench.hubs[0].update(hub="A", pool="A")
    bench.pairs[0].update(hub="A")
    item = bench.only()
    assert (item.code, item.severity, item.detail) == ("third_location", "open", "hub A is the site itself")


def test_one_hub_at_a_third_location_is_enough(bench):
    bench.hubs.append({"hub": "S", "pool": "S", "zone": ("far",)})
    bench.pairs.append({"site": "A", "hub": "S", "rtt_ms": 20.0})
    assert bench.site(zone=("feed",)).hub(zone=("feed",)).found() == []


def test_the_least_distance_of_the_policy_itself_is_enough(bench):
    from planner.latency import distance_km

    km = float(distance_km(54.0, -2.0, 55.0, -2.0))
    assert bench.under(third_location_km=km).found() == []
    item = bench.under(third_location_km=km + 0.01).only()
    assert (item.code, item.severity) == ("third_location", "open")
    assert "111." in item.detail


def test_a_distance_that_is_asked_for_and_not_known_is_an_unknown(bench):
    item = bench.site(latitude=NAN).under(third_location_km=50).only()
    assert (item.code, item.severity, item.columns) == ("third_location", "unknown", ("latitude", "longitude"))
    item = bench.site(zone=("feed",)).hub(zone=("feed",)).only()  # coordinates would not help
    assert item.severity == "open"


def test_nothing_shows_another_location_without_zones_and_coordinates(bench):
    item = bench.site(latitude=NAN).only()
    assert (item.code, item.severity) == ("third_location", "unknown")
    assert "hub N" in item.detail
    assert bench.site(zone=("feed",)).only().code == "third_location"
    assert bench.hub(zone=("other",)).found() == []


def test_coordinates_must_be_more_than_a_kilometre_apart_to_show_it(bench):
    assert bench.hub(latitude=54.005).only().code == "third_location"  # 0.56 km
    assert bench.hub(latitude=54.01).found() == []  # 1.1 km


def test_the_distance_of_any_eligible_hub_counts(bench):
    for number in range(5):
        bench.hubs.append({"hub": f"H{number}", "pool": f"H{number}"})
        bench.pairs.append({"site": "A", "hub": f"H{number}", "rtt_ms": 5.0})
    bench.hub(latitude=NAN)
    assert bench.found() == [("third_location", "unknown")]
    bench.hubs[-1].update(latitude=55.0, longitude=-2.0)
    assert bench.found() == []


def test_a_latency_beyond_the_budget_is_an_open_item_with_figures(bench):
    bench.pairs[0]["rtt_ms"] = 20.1
    item = bench.only()
    assert (item.code, item.severity) == ("eligible_hub", "open")
    assert "best RTT 20.1 ms (hub N) exceeds the budget of 20 ms" in item.detail
    bench.pairs[0]["rtt_ms"] = 20.0
    assert bench.found() == []


def test_a_latency_that_nobody_measured_is_an_unknown(bench):
    bench.hubs.append({"hub": "S", "pool": "S", "latitude": 51.0, "longitude": -2.0})
    bench.pairs[0].update(hub="S", rtt_ms=99.0)
    item = bench.only()
    assert (item.code, item.severity) == ("eligible_hub", "unknown")
    assert "hub N" in item.detail
    assert "S" not in item.detail
    assert bench.site(barred_hubs=("N",)).only().severity == "open"  # measuring would not help


def test_what_is_asked_of_the_site_itself_does_not_hide_the_hubs(bench):
    bench.pairs.clear()
    assert bench.site(nodes=3, release="8.1").found() == [
        ("nodes", "blocks"),
        ("release_floor", "open"),
        ("management_floor", "open"),
        ("eligible_hub", "unknown"),
    ]


def test_a_fleet_without_hubs_has_no_third_location(bench):
    bench.hubs.clear()
    bench.pairs.clear()
    item = bench.only()
    assert (item.code, item.severity, item.remedy) == ("third_location", "open", "Add a hub.")
