"""Fleets to report on, and pages in a real browser."""

from dataclasses import replace

import numpy as np
import pytest

from planner.fleet import Finding
from planner.outputs.report.page import report_html
from planner.plan import Reason, Unserved

NASTY = (
    "<img src=x onerror=\"document.title='hit'\">",
    "</script><script>document.title='hit'</script>",
    "فرع الرياض",  # right to left
    "Café 🏪 \u202eabc",  # emoji, and a right-to-left override
    "{{ 7 * 7 }} {% raw %} &amp; '\" ]]> -->",
)


@pytest.fixture(scope="session")
def located():
    """Give a fleet of `build_fleet` coordinates: hubs on a ring, sites around."""

    def locate(fleet):
        rng = np.random.default_rng(5)
        turn = np.linspace(0, 6, len(fleet.pools))
        spread = rng.normal(0, 1.5, (2, len(fleet.sites)))
        pools = fleet.pools.assign(latitude=52 + 2 * np.sin(turn), longitude=10 + 3 * np.cos(turn))
        sites = fleet.sites.assign(latitude=52 + spread[0], longitude=10 + spread[1])
        return fleet.replace(sites=sites, pools=pools)

    return locate


@pytest.fixture(scope="session")
def nasty(builders, located):
    """A fleet and plan whose every text is made to break out of where it stands."""
    build_fleet, build_plan = builders
    fleet = located(build_fleet(60))
    plan = build_plan(fleet)
    names = [NASTY[number % len(NASTY)] for number in range(60)]
    fleet = fleet.replace(sites=fleet.sites.assign(name=names, region=names))
    hub = plan.host_list[0].hub
    renamed = {host.host: f"{host.host} {NASTY[number % 5]}" for number, host in enumerate(plan.host_list)}
    host_list = tuple(replace(host, host=renamed[host.host]) for host in plan.host_list)
    assignments = tuple(replace(a, host=renamed[a.host], standby=renamed.get(a.standby)) for a in plan.assignments)
    return fleet, plan.replace(
        host_list=host_list,
        assignments=assignments,
        unserved=(Unserved("0060", 1, (Reason("latency", NASTY[1]),), NASTY[0]),),
        findings=tuple(Finding("warning", "odd", f"Sites!{hub}", text, text, text) for text in NASTY),
    )


class Shown:
    """A page that is open, and all that it asked for or complained about."""

    def __init__(self, page):
        self.page = page
        self.requests, self.complaints = [], []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self._hear)

    def _hear(self, message):
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def counted(self):
        """How many assignments the page says it shows."""
        return int(self.page.text_content("#count").split()[0].replace(",", ""))

    def column(self, heading):
        """The cells of a column of the list, on the page of it that is shown."""
        headings = self.page.locator("#list thead button").all_text_contents()
        cells = f"#list tbody tr > :nth-child({headings.index(heading) + 1})"
        return self.page.locator(cells).all_text_contents()


@pytest.fixture(scope="module")
def show(browser, tmp_path_factory):
    """Write a report and open it."""
    folder = tmp_path_factory.mktemp("reports")
    opened = []

    def open_report(fleet, plan, **more):
        path = folder / f"report{len(opened)}.html"
        path.write_text(report_html(fleet, plan, **more), encoding="utf-8")
        page = browser.new_page(viewport={"width": 1280, "height": 900}, color_scheme="light")
        opened.append(page)
        shown = Shown(page)
        page.goto(path.as_uri())
        page.wait_for_selector("body[data-ready]")
        return shown

    yield open_report
    for page in opened:
        page.close()
