"""The desk in a real browser: from dropped files to a plan that passes verify, by pressing what a person presses."""

import base64
import shutil

import pytest

import planner
from tests.desk.conftest import SAMPLES

pytestmark = pytest.mark.browser

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
DROP = """([names, contents]) => {
    const moved = new DataTransfer();
    const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    names.forEach((name, at) => moved.items.add(new File([bytes(contents[at])], name)));
    const event = new DragEvent("drop", { dataTransfer: moved, bubbles: true, cancelable: true });
    document.getElementById("drop").dispatchEvent(event);
}"""
SLIDE = """([label, value]) => {
    const range = document.getElementById(`k-${label}`.replace(/\\W+/g, "-"));
    range.value = value;
    range.dispatchEvent(new Event("input", { bubbles: true }));
    range.dispatchEvent(new Event("change", { bubbles: true }));
}"""
CAP = "Cluster cap of a host"


def drop(page, *paths):
    contents = [base64.b64encode(path.read_bytes()).decode() for path in paths]
    page.evaluate(DROP, [[path.name for path in paths], contents])


def tab(page, name):
    page.click(f"[data-tab={name}]")
    page.wait_for_selector(f"#tab-{name}:not([hidden])")


def question(page):
    return page.evaluate("import('/own/state.js').then((m) => m.state.question)")


def counted(page):
    """The count for the question as it stands, when it is there."""
    page.wait_for_function("() => document.body.dataset.counted?.startsWith(`${document.body.dataset.asked} `)")
    return int(page.evaluate("document.body.dataset.counted").rpartition(" ")[2])


def planned(page):
    page.wait_for_function("() => document.body.dataset.planned === document.body.dataset.asked")


@pytest.fixture(scope="module")
def county(tmp_path_factory):
    """The messy sample, with one more cell that is wrong: a hub that is none."""
    import openpyxl

    path = tmp_path_factory.mktemp("county") / "county_chain.xlsx"
    shutil.copy(SAMPLES / "county_chain.xlsx", path)
    book = openpyxl.load_workbook(path)
    sheet = book["Current assignments"]
    right = sheet["B2"].value
    sheet["B2"].value = f"{right}X"
    book.save(path)
    return path, right


@pytest.fixture(scope="module")
def there(person, county):
    """The page of the messy sample, dropped, with the wrong cell mended."""
    path, right = county
    drop(person.page, path)
    person.page.wait_for_selector("body[data-fleet=yes]")
    person.page.wait_for_selector("#tab-fleet:not([hidden])")
    person.page.evaluate("for (const one of document.querySelectorAll('#findings details')) one.open = true")
    person.page.click(f"text=Write {right} into B2")
    person.page.wait_for_selector("text=1 correction made here")
    return person


def test_the_fleet_that_was_dropped_is_read_and_mended(there):
    assert "180 sites" in there.page.text_content("#fleet-summary")
    assert "126 sites with a host today" in there.page.text_content("#fleet-summary")


def test_a_column_is_corrected_by_choosing_and_undone(there):
    page = there.page
    tab(page, "fleet")
    page.evaluate("for (const one of document.querySelectorAll('#tables details')) one.open = true")
    select = page.get_by_label("Meaning of Importance on Stores")
    assert select.input_value() == "weight"
    select.select_option("")
    wait_for_meaning(page, "")
    page.click("#undo")
    wait_for_meaning(page, "weight")


def wait_for_meaning(page, wanted):
    page.wait_for_function(
        """(wanted) => {
            const all = [...document.querySelectorAll("#tables select")];
            const one = all.find((select) => select.getAttribute("aria-label") === "Meaning of Importance on Stores");
            return one && one.value === wanted;
        }""",
        arg=wanted,
    )


def test_a_slider_moves_the_proven_count(there, county):
    page = there.page
    tab(page, "ask")
    page.click("#as-read")
    first = counted(page)
    page.evaluate(SLIDE, [CAP, "40"])
    second = counted(page)
    assert question(page)["settings"] == {"cluster_cap": "40"}
    fleet = planner.read_fleet(SAMPLES / "county_chain.xlsx")
    pools = fleet.pools.assign(cluster_cap=40.0)
    real = planner.count(fleet.replace(policy=fleet.policy.replace(cluster_cap=40), pools=pools))
    assert second == real.hosts < first
    assert "Proven" in page.text_content("#count-words") or "proven" in page.text_content("#answer")
    page.click("#undo")
    assert counted(page) == first


def test_pressing_a_hub_on_the_map_shuts_it(there):
    page = there.page
    tab(page, "ask")
    page.click("#as-read")
    page.click("[aria-label='Shut hub HOL on the map']")
    assert question(page) == {"shut": ["HOL"]}
    counted(page)
    assert page.get_attribute("[aria-label='Shut hub HOL on the map']", "aria-pressed") == "true"
    page.click("[aria-label='Shut hub HOL on the map']")
    assert question(page) == {}


def test_sixty_moves_leave_no_queue(there):
    page = there.page
    tab(page, "ask")
    for value in range(60):
        page.evaluate(SLIDE, ["Reserve kept free (%)", str(value % 30)])
    assert question(page) == {"settings": {"reserve_percent": "29"}}
    last = counted(page)
    page.click("#as-read")
    assert counted(page) <= last


def test_answers_are_kept_compared_and_handed_over(there, tmp_path):
    page = there.page
    tab(page, "ask")
    page.click("#as-read")
    planned(page)
    keep(page, "as it is")
    page.evaluate(SLIDE, [CAP, "30"])
    counted(page)
    planned(page)
    keep(page, "cap of 30")
    tab(page, "compare")
    table = page.text_content("#side")
    assert "as it is" in table
    assert "cluster_cap 30" in table
    page.click("text=Show what differs")
    page.wait_for_selector("#differs >> text=Figures")
    tab(page, "hand")
    page.select_option("#which", label="as it is")
    with page.expect_download() as got:
        page.click("[data-file=workbook]")
    got.value.save_as(tmp_path / "plan.xlsx")
    fleet, plan = planner.read_fleet(SAMPLES / "county_chain.xlsx"), planner.read_plan(tmp_path / "plan.xlsx")
    assert [v for v in planner.verify(fleet, plan) if v.severity == "violation"] == []
    assert plan.hosts == planner.count(fleet).hosts
    assert "castingvote plan fleet.xlsx -o plan.xlsx" in page.text_content("#command")


def keep(page, name):
    page.fill("#keep-name", name)
    page.click("#keep button")
    page.wait_for_selector(f"text=Kept as {name}")


def test_an_answer_is_explained_and_drilled(there):
    page = there.page
    tab(page, "ask")
    planned(page)
    tab(page, "understand")
    page.click("text=Lose it")
    page.wait_for_selector("#lost-said >> text=lose their third vote")
    page.fill("#site", "0951")
    page.click("text=Tell its story")
    page.wait_for_selector("#site-said table")
    page.fill("#site", "nowhere")
    page.click("text=Tell its story")
    page.wait_for_selector("#site-said >> text=there is no site")


def test_nothing_is_lost_when_the_page_is_loaded_anew(there):
    page = there.page
    before = question(page)
    assert before
    page.reload()
    page.wait_for_selector("body[data-fleet=yes]")
    assert question(page) == before
    tab(page, "compare")
    assert "cap of 30" in page.text_content("#side")
    assert not page.is_disabled("#undo")


def test_the_page_asks_nobody_else_and_complains_about_nothing(there, served):
    asked = {url.split("/")[2] for url in there.requests if not url.startswith(("data:", "blob:"))}
    assert asked == {served.host}
    assert there.complaints == []


@pytest.mark.parametrize(
    ("width", "scheme", "tabs"),
    [(1280, "light", ("ask", "compare", "understand", "hand")), (360, "dark", ("fleet", "ask"))],
)
def test_axe_finds_no_fault_by_wcag(there, width, scheme, tabs):
    from axe_playwright_python.sync_playwright import Axe

    page = there.page
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 800})
    for name in tabs:
        tab(page, name)
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
        faults = [(one["id"], one["nodes"][0]["html"][:200]) for one in found.response["violations"]]
        assert faults == [], (name, faults)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, (name, wide)
    page.set_viewport_size({"width": 1280, "height": 900})
    page.emulate_media(color_scheme="light")


def test_a_script_in_a_text_of_the_fleet_stays_text(person, tmp_path):
    nasty = "<img src=x onerror=\"document.title='hit'\"><script>document.title='hit'</script>"
    cell = '"' + nasty.replace('"', '""') + '"'
    rows = {
        "Sites.csv": f"site,name,region\n{cell},x,{cell}\n2,b,{cell}\n",
        "Hubs.csv": f"hub,name\n{cell},{cell}\n",
        "Latency.csv": f"site,hub,rtt_ms\n2,{cell},5\n",
        "Policy.csv": "setting,value\nlatency_budget_ms,20\n",
    }
    for name, text in rows.items():
        (tmp_path / name).write_text(text)
    page = person.context.new_page()
    page.goto(f"http://{person.page.url.split('/')[2]}/")
    drop(page, *(tmp_path / name for name in rows))
    page.wait_for_selector("body[data-fleet=yes]")
    tab(page, "ask")
    counted(page)
    planned(page)
    assert page.title() != "hit"
    assert page.locator("img").count() == 0
    page.close()
