"""The browser of tests that look at pages, and a collector of garbage that leaves the loaded modules alone."""

import gc
import shutil

import pytest

gc.set_threshold(50_000, 20, 50)


def pytest_collection_finish():
    """Leave what is loaded by now to itself: the collector would go through all of it again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="module")
def browser():
    """The headless Chromium of Debian, driven by Playwright, whose event loop must not outlive these tests."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield started
        started.close()
