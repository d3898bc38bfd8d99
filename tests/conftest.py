"""Settings shared by all tests."""

import os
import shutil

import pytest
from hypothesis import settings

# The machine may be busy and kernels compile at their first call: no deadlines. The same examples
# are tried each time, so that a red run means a change in the code; look for new ones with
# `python -m pytest tests/properties --hypothesis-profile=explore`, and report what they find.
settings.register_profile("steady", deadline=None, max_examples=60, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("steady")

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="session")
def browser():
    """A Chromium of the system, such as Debian's package ``chromium``, without a window.

    Driven by ``playwright`` (``python -m pip install "soilwater[browser]"``), which downloads none
    of its own here. Skipped where one of the two is missing.
    """
    driver = pytest.importorskip(
        "playwright.sync_api", reason='no driver: python -m pip install "soilwater[browser]"'
    )
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found is None:
        pytest.skip(f"no browser of the system: {', '.join(BROWSERS)}")
    # Only root needs the sandbox off, as in containers.
    arguments = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with driver.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=found, args=arguments)
        yield opened
        opened.close()
