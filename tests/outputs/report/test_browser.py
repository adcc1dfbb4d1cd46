"""The report in a real browser: it draws, filters, sorts, drills, and asks nobody for anything."""

import io
from collections import Counter
from dataclasses import replace

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

from planner.explain import BudgetPoint
from tests.how_many import ALL_SAMPLES

pytestmark = pytest.mark.browser

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

CURVE = (
    BudgetPoint(0.5, 20, 18.0, 9, False, 7),
    BudgetPoint(1.0, 12, 12.0, 4, True),
    BudgetPoint(2.0, 10, 10.0, 0, True),
)


@pytest.fixture(scope="module")
def opened(show, fleet, plan, located):
    return show(located(fleet), plan, curve=CURVE)


@pytest.fixture
def usual(opened):
    """The page as it is when it opens; opening it for each test takes much longer."""
    opened.page.emulate_media(media="screen", color_scheme="light")
    opened.page.set_viewport_size({"width": 1280, "height": 900})
    opened.page.evaluate("""async () => {
        for (const form of document.forms) form.reset();
        $("page-size").value = "25";
        sorted = null;
        for (const cell of head.cells) cell.removeAttribute("aria-sort");
        await new Promise((done) => setTimeout(done, 100));
        seeAll();
    }""")
    return opened


def test_the_page_complains_about_nothing_and_asks_for_nothing_but_itself(usual):
    usual.page.select_option("#lost", index=1)
    usual.page.fill("#search", "0042")
    assert usual.complaints == []
    assert [url.split(":")[0] for url in usual.requests] == ["file"]


def test_the_policy_lets_no_request_leave_and_no_foreign_script_run(usual):
    refused = usual.page.evaluate("""async () => {
        const refused = [];
        document.addEventListener("securitypolicyviolation", (event) => refused.push(event.effectiveDirective));
        await fetch("http://127.0.0.1:9/").catch(() => {});
        const image = new Image();
        image.src = "http://127.0.0.1:9/x.png";
        const script = document.createElement("script");
        script.textContent = "document.title = 'ran'";
        document.body.append(image, script);
        await new Promise((done) => setTimeout(done, 200));
        image.remove();
        script.remove();
        return refused;
    }""")
    assert {"connect-src", "img-src", "script-src-elem"} <= set(refused)
    assert usual.page.title() != "ran"
    usual.complaints.clear()  # of what was tried here
    del usual.requests[1:]


def test_the_map_draws_land_sites_and_hubs(usual):
    picture = Image.open(io.BytesIO(usual.page.locator("#map-pane").screenshot())).convert("RGB")
    colours = Counter(picture.get_flattened_data() if hasattr(picture, "get_flattened_data") else picture.getdata())
    assert colours[(0xEB, 0xE8, 0xDF)] > 10_000  # land, as page.css has it
    assert colours[(0x00, 0x72, 0xB2)] > 20  # the first host's sites: blue of Okabe and Ito
    assert colours[(0x1B, 0x1B, 0x1B)] > 300  # hubs


def test_without_coordinates_the_map_is_a_scheme(show, fleet, plan):
    shown = show(fleet, plan)
    assert "This is no map" in shown.page.text_content("main figure figcaption")
    picture = Image.open(io.BytesIO(shown.page.locator("#map-pane").screenshot())).convert("RGB")
    assert len(picture.getcolors(1 << 20)) > 100
    assert shown.complaints == []


def test_each_filter_narrows_map_list_and_count_alike(usual, fleet, plan):
    page, everything = usual.page, len(plan.assignments)
    assert usual.counted() == everything

    def shown_on_map():
        return page.evaluate("glyphs('map', 'dots').view.filter.indices.length")

    regions = dict(zip(fleet.sites["site"], fleet.sites["region"], strict=True))
    expected = {
        "#by-hub": ("TYN", lambda a: a.hub == "TYN"),
        "#by-host": ("TYN-01", lambda a: a.host == "TYN-01"),
        "#by-region": ("North", lambda a: regions[a.site] == "North"),
        "#by-evidence": ("estimated", lambda a: a.evidence == "estimated"),
    }
    for control, (label, passes) in expected.items():
        page.select_option(control, label=label)
        number = sum(map(passes, plan.assignments))
        assert 0 < number < everything
        assert usual.counted() == shown_on_map() == number
        page.click("form.filters button[type=reset] >> nth=0")
        expect(page.locator("#count")).to_have_text(f"{everything} of {everything} assignments shown")
    page.fill("#by-margin", "2")
    assert usual.counted() == shown_on_map() == sum(a.margin_ms <= 2 for a in plan.assignments)
    assert all(float(margin) <= 2.0 for margin in usual.column("Margin, ms"))


def test_search_finds_sites_by_every_word(usual):
    usual.page.fill("#search", "0042")
    assert usual.counted() == 1
    assert usual.column("Site") == ["0042"]
    usual.page.fill("#search", "no such site")
    assert usual.counted() == 0
    assert usual.page.text_content("#rows-shown") == "No assignment passes the filters."


def test_the_list_sorts_by_number_and_by_text_and_turns_around(usual, plan):
    page = usual.page
    page.select_option("#page-size", label="all")
    page.click("#list thead button:has-text('RTT')")
    figures = [float(text) for text in usual.column("RTT, ms")]
    assert figures == sorted(figures)
    assert len(figures) == len(plan.assignments)
    page.locator("#list thead button:has-text('Host') >> nth=0").press("Enter")
    assert usual.column("Host") == sorted(a.host for a in plan.assignments)
    page.locator("#list thead button:has-text('Host') >> nth=0").press("Enter")
    assert usual.column("Host")[0] == max(a.host for a in plan.assignments)
    assert page.locator("#list th[aria-sort]").get_attribute("aria-sort") == "descending"


def test_pages_of_the_list_cover_it_all_once(usual, plan):
    seen = usual.column("Site")
    while usual.page.is_enabled("#next"):
        usual.page.click("#next")
        seen += usual.column("Site")
    assert sorted(seen) == sorted(a.site for a in plan.assignments)


def drilled(plan, lost):
    """Clusters that go to each standby, and clusters left bare, when the hosts ``lost`` are."""
    taken, bare = Counter(), 0
    for a in plan.assignments:
        if a.host in lost:
            if a.standby in lost:
                bare += a.clusters
            else:
                taken[a.standby] += a.clusters
    return taken, bare


def test_losing_a_host_sends_its_sites_to_their_standbys(usual, plan):
    page = usual.page
    page.click("[aria-label='Try loss TYN-01']")
    taken, bare = drilled(plan, {"TYN-01"})
    said = page.text_content("#drill-said")
    assert f"{sum(taken.values())} clusters go to their standby; {bare} have no standby." in said
    rows = page.locator("#drill-rows tr").all_inner_texts()
    assert {row.split("\t")[0]: int(row.split("\t")[1]) for row in rows} == dict(taken)
    assert page.evaluate("sourceOf('moving').data.x.length") == sum(a.host == "TYN-01" for a in plan.assignments)
    page.check("#only-hit")
    assert usual.counted() == sum(a.host == "TYN-01" for a in plan.assignments)
    page.click("#drill-form button[type=reset]")
    expect(page.locator("#drill-said")).to_have_text("Nothing is lost.")
    assert usual.counted() == len(plan.assignments)


def test_pressing_a_hub_on_the_map_loses_it(usual, plan):
    page = usual.page
    page.locator("#map-pane").scroll_into_view_if_needed()
    box = page.locator("#map-pane").bounding_box()
    x, y = page.evaluate("""() => {
        const map = charts.map, hub = hubs.find((one) => one.hub === "DON");
        return [(hub.x - map.x_range.start) / (map.x_range.end - map.x_range.start) * map.inner_width,
                (map.y_range.end - hub.y) / (map.y_range.end - map.y_range.start) * map.inner_height];
    }""")
    page.mouse.click(box["x"] + x, box["y"] + y)
    expect(page.locator("#drill-result")).to_be_visible()
    lost = {host.host for host in plan.host_list if host.hub == "DON"}
    taken, bare = drilled(plan, lost)
    assert page.text_content("#drill-said").startswith("Without hub DON,")
    assert f"{sum(taken.values())} clusters go to their standby; {bare} have no standby." in page.text_content(
        "#drill-said"
    )


def test_a_plan_without_standbys_says_that_all_are_left_bare(show, fleet, plan):
    alone = tuple(replace(a, standby=None) for a in plan.assignments)
    shown = show(fleet, plan.replace(assignments=alone))
    shown.page.select_option("#lost", label="hub ESK")
    assert "names no standby for any site" in shown.page.text_content("#drill-said")
    assert "0 clusters go to their standby" in shown.page.text_content("#drill-said")


def test_keys_and_buttons_steer_the_map(usual):
    page = usual.page
    middle = "view()"
    x, y, scale = page.evaluate(middle)
    page.focus("#map-pane")
    page.keyboard.press("+")
    assert page.evaluate(middle)[2] == pytest.approx(scale / 1.5)
    page.keyboard.press("ArrowRight")
    assert page.evaluate(middle)[0] > x
    page.keyboard.press("ArrowUp")
    assert page.evaluate(middle)[1] > y
    page.click("[data-map=see_all]")
    assert page.evaluate(middle) == pytest.approx([x, y, scale])


@pytest.mark.parametrize(("colour_scheme", "width"), [("light", 1280), ("dark", 1280), ("light", 390)])
def test_axe_finds_no_fault_by_wcag(usual, colour_scheme, width):
    usual.page.emulate_media(color_scheme=colour_scheme)
    usual.page.set_viewport_size({"width": width, "height": 900})
    usual.page.select_option("#lost", index=1)
    found = Axe().run(usual.page, options={"runOnly": WCAG}).response["violations"]
    assert [(fault["id"], fault["impact"]) for fault in found] == []
    assert usual.page.evaluate("document.documentElement.scrollWidth") <= width  # WCAG 2.2, 1.4.10 reflow


def test_texts_of_the_input_are_shown_as_text_everywhere(show, nasty):
    fleet, plan = nasty
    shown = show(fleet, plan)
    page = shown.page
    page.select_option("#page-size", label="all")
    page.select_option("#lost", index=1)
    page.locator("#map-pane").scroll_into_view_if_needed()
    box = page.locator("#map-pane").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert page.title() != "hit"
    assert page.locator("img").count() == 0
    texts = set(fleet.sites["name"])
    assert set(shown.column("Name")) == texts
    whole = page.text_content("main")
    assert all(text in whole for text in texts)
    assert [option for option in page.locator("#by-region option").all_text_contents() if option in texts]
    assert shown.complaints == []


def test_it_prints_with_all_that_is_shown_and_without_controls(usual):
    assert usual.page.pdf(format="A4").startswith(b"%PDF")
    usual.page.emulate_media(media="print")
    for hidden in ("nav", ".filters", ".pager", ".map-buttons"):
        assert not usual.page.locator(hidden).first.is_visible()
    for shown in ("h1", "#map-chart", "#list", "#print-rows"):
        assert usual.page.locator(shown).first.is_visible()


def test_thousands_of_sites_filter_and_sort(show, builders, located):
    build_fleet, build_plan = builders
    count = 10_000 if ALL_SAMPLES else 2_000
    fleet = located(build_fleet(count))
    shown = show(fleet, build_plan(fleet, cap=64))
    took = shown.page.evaluate("""async () => {
        const drawn = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
        const times = {};
        for (const [what, act] of Object.entries({
            region: () => { $("by-region").value = "North"; applyFilters(); },
            search: () => { $("search").value = "rowan"; applyFilters(); },
            clear: () => { $("by-region").value = $("search").value = ""; applyFilters(); },
            sort: () => head.cells[6].firstChild.click(),
        })) {
            await drawn();
            const began = performance.now();
            act();
            await drawn();
            times[what] = Math.round(performance.now() - began);
        }
        return times;
    }""")
    print(f"ms until drawn, {count:,} sites: {took}")
    assert shown.counted() == count - 4
    assert shown.complaints == []
