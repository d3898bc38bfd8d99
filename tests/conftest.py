"""Settings shared by all tests."""

import os
import shutil
import signal

import pytest
from hypothesis import settings

# The machine may be busy and kernels compile at their first call: no deadlines. The same examples
# are tried each time, so that a red run means a change in the code; look for new ones with
# `python -m pytest tests/properties --hypothesis-profile=explore`, and report what they find.
settings.register_profile("steady", deadline=None, max_examples=60, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("steady")

PROCESSES = 2
"""Processes that share the whole suite, each with whole files."""

BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def pytest_configure():
    """Let Ctrl-C be heard, which some tests press: a shell has what it runs behind ignore it."""
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config):
    """Share the whole suite between two processors; what is named on the command line runs in one.

    Only where pytest-xdist is there, and nothing else was asked of it.
    """
    if not config.pluginmanager.hasplugin("xdist") or "PYTEST_XDIST_WORKER" in os.environ:
        return
    whole = config.args_source is config.ArgsSource.TESTPATHS and not config.option.usepdb
    if whole and config.option.numprocesses is None and config.option.dist == "no":
        config.option.numprocesses, config.option.dist = PROCESSES, "loadfile"


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


@pytest.fixture
def open_page(browser):
    """Open a file as a page; whatever it asks for or complains of fails the test."""
    seen = []

    def open_file(path, width=1000, height=900):
        page = browser.new_page(viewport={"width": width, "height": height})
        asked, complaints = [], []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(path.as_uri())
        seen.append((page, path, asked, complaints))
        return page

    yield open_file
    for page, path, asked, complaints in seen:
        page.wait_for_timeout(50)
        page.close()
        assert asked == [path.as_uri()]
        assert complaints == []
