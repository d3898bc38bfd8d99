"""The page of a report on a phone and on paper."""

import re
import shutil
import subprocess

import pytest

from soilwater.report import report

# --- on a phone ----------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [320, 390, 1000])
@pytest.mark.parametrize("which", ["page", "crowded"])
def test_nothing_is_cut_at_the_edge(open_page, which, width, page, crowded, tmp_path):
    """Neither the page nor a table within it has to be moved sideways."""
    path = tmp_path / "page.html"
    path.write_text({"page": page, "crowded": crowded}[which], encoding="utf-8")
    shown = open_page(path, width=width)
    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    cut = shown.evaluate(
        "[...document.querySelectorAll('body *')].filter(each => each.clientWidth > 0"
        " && each.scrollWidth > each.clientWidth + 1).map(each => each.tagName)"
    )
    assert cut == []
    furthest = shown.evaluate(
        "Math.max(...[...document.querySelectorAll('td, th, p, li, img')]"
        ".map(each => each.getBoundingClientRect().right))"
    )
    assert furthest <= width


# --- on paper ------------------------------------------------------------------------------------

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)


def sides(page, paper, folder):
    """Print a page and count the printed sides; their size comes back too."""
    on_paper = page.replace("@page {", f"@page {{ size: {paper};", 1)
    assert on_paper != page
    source, printed = folder / "page.html", folder / "page.pdf"
    source.write_text(on_paper, encoding="utf-8")
    command = [BROWSER, *QUIET, f"--user-data-dir={folder / 'profile'}"]
    subprocess.run(
        [*command, f"--print-to-pdf={printed}", source.as_uri()],
        check=True,
        capture_output=True,
        timeout=120,
    )
    content = printed.read_bytes()
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", content)
    size = tuple(float(each) / 72.0 * 25.4 for each in box.groups())
    return len(re.findall(rb"/Type\s*/Page\b", content)), size


@pytest.mark.skipif(BROWSER is None, reason="no chromium here: apt-get install chromium")
@pytest.mark.parametrize(("paper", "size"), [("A4", (210, 297)), ("letter", (215.9, 279.4))])
@pytest.mark.parametrize("which", ["short", "page", "crowded"])
def test_prints_on_one_sheet(which, paper, size, page, crowded, parts, tmp_path):
    """On its front alone where that is read well, and else on front and back."""
    shown = {"page": page, "crowded": crowded, "short": report(parts[0])}[which]
    count, printed = sides(shown, paper, tmp_path)
    assert printed == pytest.approx(size, abs=0.5)
    assert count == (1 if which == "short" else 2)


@pytest.mark.parametrize("which", ["page", "crowded"])
def test_type_is_read_well_and_fills_its_side(open_page, which, page, crowded, tmp_path):
    """Nothing is smaller than 9 pt; of 259 mm on letter paper little is left."""
    path = tmp_path / "page.html"
    path.write_text({"page": page, "crowded": crowded}[which], encoding="utf-8")
    shown = open_page(path, width=round(188 / 25.4 * 96))
    shown.emulate_media(media="print")
    points = shown.evaluate(
        "Math.min(...[...document.querySelectorAll('body *')].filter(each => each.innerText)"
        ".map(each => parseFloat(getComputedStyle(each).fontSize)))"
    )
    assert 0.75 * points >= 9.0 - 1e-6
    back = "document.querySelector('.back').getBoundingClientRect().top"
    front = shown.evaluate(back) / 96 * 25.4
    whole = shown.evaluate("document.body.getBoundingClientRect().height") / 96 * 25.4
    assert 0.7 * 259 < front <= 259
    assert 0.85 * 259 < whole - front <= 259


@pytest.mark.skipif(BROWSER is None, reason="no chromium here: apt-get install chromium")
def test_the_count_of_sides_would_notice(page, tmp_path):
    longer = page.replace("</footer>", "<p>more</p>" * 300 + "</footer>")
    assert sides(longer, "A4", tmp_path)[0] > 2
