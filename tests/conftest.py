"""The browser of tests that look at pages."""

import shutil

import pytest


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
