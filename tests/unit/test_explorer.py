"""The page to explore: what it works out is what runs give, and it stays a page whatever is given.

`test_explorer_browser.py` holds the page in a browser against the same arithmetic.
"""

import base64
import json
import re
import zlib

import numpy as np
import pytest
from grounds import MIDDLE_MIX, STRAIGHT_SAND
from scipy.integrate import quad

import soilwater as sw
from soilwater.explorer import arithmetic, bands, html, lattice, make, page

TURF = sw.Turf.creeping_bentgrass()
LINES = sw.Thresholds("18 %", "14 %", "12 %")
GRAVEL = sw.CapillaryBreak(3.0)
SETTING = lattice.Setting(TURF, 14, "2025-07-01", "soaked", None)
LAB = sw.RetentionTable([10, 20, 30, 40], [0.378, 0.284, 0.194, 0.140], k_sat="14 in/h")
OPENING = {"spot_depth": 45.0, "green_depth": "12 in", "rod": "3 in", "demand": "5 mm/day"}
NARROW = {"depths": (28.0, 46.0), "demands": (4.0, 6.0), "days": 4}
NASTY = '<script>alert("x")</script> & </script>'
RIGHT_TO_LEFT = "رمل ناعم"


def narrow_page(sands=MIDDLE_MIX, **changed):
    given = {**OPENING, **NARROW, **changed}
    return sw.explore(sands, TURF, LINES, **given)


def unpacked(text, hours):
    """Read a stream as the page does: byte planes, then differences along the hours."""
    raw = zlib.decompress(base64.b64decode(text))
    low, high = np.frombuffer(raw, dtype=np.uint8).reshape(2, -1)
    steps = (low.astype(np.uint16) | (high.astype(np.uint16) << 8)).view(np.int16)
    return np.cumsum(steps.reshape(hours, -1), axis=0, dtype=np.int16).ravel()


def given_to_script(html):
    found = re.search(r'<script type="application/json" id="given">(.*?)</script>', html, re.S)
    return json.loads(found.group(1))


# --- what is worked out ------------------------------------------------------------------------

POINTS = 100  # Of each ground: 250 in all, with those of `hard`.
RODS = (3.8, 5.0, 7.6, 12.0, 15.0, 20.0)
HOURS = np.arange(14 * 24 + 1.0)


# In spec, and a straight sand, which dries in steps and is harder to read between; on both kinds of
# gravel, of which the blanket is what stands below a profile unless another base is given.
GROUNDS = {
    "middle mix over a break": (MIDDLE_MIX, GRAVEL),
    "straight sand over a blanket": (STRAIGHT_SAND, sw.Profile.over_gravel(MIDDLE_MIX, 30.0).base),
}


@pytest.fixture(scope="module", params=GROUNDS)
def against_runs(request):
    """Hourly readings of the page and of runs, at places drawn evenly over the whole lattice.

    A quarter more lie where a deep sand stops draining to feed roots, which a wider step missed.
    """
    sand, base = GROUNDS[request.param]
    whole = lattice.make_lattice(sand, base, lattice.DEPTHS, lattice.DEMANDS, SETTING)
    # From the stream, as the page has it: rounded, packed and unpacked.
    water = unpacked(html.pack(whole.water), whole.hours.size).reshape(whole.water.shape)
    whole = whole._replace(water=water)
    rng = np.random.default_rng(20)
    places = rng.uniform((15.0, 0.0), (60.0, 10.0), (POINTS, 2))
    hard = rng.uniform((50.0, 0.0), (60.0, 1.0), (POINTS // 4, 2))
    places = np.concatenate([places, hard])
    cases = [lattice.case_of(lattice.profile_of(sand, d, base), e, SETTING) for d, e in places]
    runs = lattice.run(cases, HOURS, SETTING, lattice.TOLERANCE)
    compared = []
    for rod in RODS:
        deep = np.flatnonzero(places[:, 0] >= rod)
        for i, run in zip(
            deep, sw.meter_reading(runs.isel(case=deep), rod=rod).values, strict=True
        ):
            depth, demand = places[i].tolist()
            mine = arithmetic.mean_to(arithmetic.water_of(whole, depth, demand), depth, rod)
            compared.append((arithmetic.every_hour(whole.hours, mine), run))
    return np.array(compared)


def test_readings_are_within_a_fifth_of_a_percent_of_runs(against_runs):
    assert len(against_runs) > 5 * POINTS
    assert np.abs(against_runs[:, 0] - against_runs[:, 1]).max() < 0.002


def test_days_to_a_line_are_those_of_runs_or_the_run_reads_the_line_there(against_runs):
    days = HOURS / 24.0
    counted = 0
    for mine, run in against_runs:
        for line in (0.25, 0.18, 0.14, 0.12, 0.10, 0.08):
            told = arithmetic.days_to(mine, line)
            below = run <= line
            if not below.any():
                own = np.inf
            else:
                k = int(np.argmax(below))
                share = (run[k - 1] - line) / (run[k - 1] - run[k]) if k else 0.0
                own = (k - 1 + share) / 24.0 if k else 0.0
            counted += 0.0 < own < np.inf
            if told != own and not abs(told - own) <= 0.1:
                # The reading stands still by night: a hair's breadth is half a day. Where water
                # comes up again by night, the lowest reading need not be the last.
                there = np.interp(told, days, run) if told < np.inf else run.min()
                assert abs(there - line) <= 0.002
    assert counted > POINTS


def test_the_drained_state_is_that_of_the_curve_at_rest():
    # van Genuchten (1980), Soil Sci. Soc. Am. J. 44:892, eq. 3, at suctions that are heights.
    made = lattice.make_lattice(
        MIDDLE_MIX, GRAVEL, np.linspace(28, 34, 4), np.linspace(4, 6, 4), SETTING._replace(days=1)
    )
    depth, rod = 31.3, 9.4

    def curve(z):
        h = depth - z + 3.0
        return 0.05 + 0.35 * (1.0 + (0.047 * h) ** 3.0) ** -(1.0 - 1.0 / 3.0)

    rest = arithmetic.rest_of(made, depth)
    expected = quad(curve, 0.0, rod)[0] / rod
    assert arithmetic.mean_to(rest, depth, rod) == pytest.approx(expected, abs=2e-4)
    short = np.maximum(rest - 0.03, 0.0)
    back = arithmetic.millimetres_back(short, rest, depth, rod)
    assert back == pytest.approx(10.0 * rod * 0.03)
    assert arithmetic.millimetres_back(rest + 0.01, rest, depth, depth) == 0.0


def test_between_points_lies_the_cubic_through_them():
    rng = np.random.default_rng(0)
    points = np.sort(rng.uniform(0.0, 9.0, 8))
    cubic = np.polynomial.Polynomial(rng.normal(size=4))
    for at in np.linspace(points[0], points[-1], 40):
        w = arithmetic.weights(points, at)
        assert w.shares @ cubic(points[w.first : w.first + 4]) == pytest.approx(cubic(at))
    held = arithmetic.weights(points, 99.0)
    assert held.shares @ points[held.first : held.first + 4] == pytest.approx(points[-1])


def test_no_cubic_goes_across_sunrise_or_sunset():
    def bent(hours):
        return np.abs((hours + 6.0) % 24.0 - 12.0)  # Straight from 6 to 18 h, and from 18 to 6 h.

    stored = lattice.stored_hours(2)
    assert arithmetic.every_hour(stored, bent(stored)) == pytest.approx(bent(np.arange(49.0)))


def test_ends_of_bands_are_within_half_a_percent_of_those_of_runs():
    fit = LAB.fit(sw.VanGenuchten)
    samples = fit.samples(10)
    setting = SETTING._replace(days=8)
    made = bands.make_bands(fit.soil, samples, GRAVEL, (24.0, 42.0), (4.0, 8.0), setting)
    hours = lattice.stored_hours(8)
    rng = np.random.default_rng(4)
    for depth, demand in rng.uniform((24.0, 4.0), (42.0, 8.0), (6, 2)):
        cases = [
            lattice.case_of(lattice.profile_of(soil, depth, GRAVEL), demand, setting)
            for soil in (fit.soil, *samples)
        ]
        runs = lattice.run(cases, hours, setting, bands.TOLERANCE)
        for rod in (3.8, 6.0, 10.0, 20.0):
            readings = sw.meter_reading(runs, rod=rod).values
            low, high = np.quantile(readings[1:], (0.1, 0.9), axis=0) - readings[0]
            mine = arithmetic.band_of(made, depth, demand, rod)
            assert np.abs(mine[0] - np.minimum(low, 0.0)).max() < 0.005
            assert np.abs(mine[1] - np.maximum(high, 0.0)).max() < 0.005


# --- the page ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def explored():
    sands = {NASTY: LAB.fit(sw.VanGenuchten), RIGHT_TO_LEFT: STRAIGHT_SAND}
    return narrow_page(sands, name=NASTY, draws=10)


def test_names_stay_text(explored):
    assert NASTY not in explored.html
    assert "&lt;script&gt;alert(" in explored.html
    scripts = re.findall(r"<script[^>]*>", explored.html)
    # Given, two lattices and one band, the library of scales, and the page's own.
    assert len(scripts) == 6 == explored.html.count("</script>")
    assert f'<option value="1" dir="auto">{RIGHT_TO_LEFT}</option>' in explored.html
    assert "<h1><bdi>" in explored.html


def test_the_page_needs_nothing_from_elsewhere(explored):
    assert "default-src 'none'" in explored.html
    markup = re.sub(r"<(script|style).*?</\1>", "", explored.html, flags=re.S)
    assert not re.search(r"\b(src|href|action|srcset)=|url\(|@import", markup)


def test_the_page_says_what_is_frozen_in_and_its_cautions(explored):
    for said in (
        "37.8 % at 10 cm, 28.4 % at 20 cm",
        "10 equally likely curves",
        "matrix-free gravel over a free outlet",
        "4 days from 2025-07-01, no rain",
        "saturated to the surface",
        "creeping bentgrass green",
        "soilwater 0.",
    ):
        assert said in explored.html
    for topic in ("accuracy", "level ground", "wilt", "construction"):
        assert sw.words.cautions.CAUTIONS[topic] in explored.html


NOTHING = {
    **dict.fromkeys(("sands", "bases", "rows", "frozen", "cautions"), ()),
    "with_bands": False,
}


@pytest.mark.parametrize(
    ("units", "opens", "chosen"),
    [("both", "cm", True), ("metric", "cm", False), ("US", "in", False)],
)
def test_the_page_keeps_to_the_units_that_are_chosen(units, opens, chosen):
    with sw.use_units(units):
        text = html.fill_page("page", "page", (), NOTHING, {"open": {}}, {}).html
    assert given_to_script(text)["units"] == opens
    assert ('<div class="control"><label for="units">' in text) == chosen


def test_the_streams_hold_the_lattice(explored):
    described = given_to_script(explored.html)["lattices"]
    assert [each["bands"] is None for each in described] == [False, True]
    text = re.search(r'id="water-0">([^<]*)<', explored.html).group(1)
    one = described[0]
    shape = (len(one["hours"]), -1, len(one["depths"]), len(one["demands"]))
    water = lattice.WATER_STEP * unpacked(text, shape[0]).reshape(shape)
    assert water.shape[1] == lattice.BESIDE_SURFACE + lattice.STRETCHED
    assert water[0].max() == pytest.approx(one["porosity"], abs=1e-3)
    assert (water[1:] > 0.0).all()


def test_it_shows_itself_in_a_frame_that_may_only_run_scripts(explored, tmp_path):
    shown = explored._repr_html_()
    assert shown.startswith("<iframe ") and 'sandbox="allow-scripts"' in shown
    assert "<script" not in shown
    assert "<noscript>" in shown and "This spot, 45.0 cm (17.7 in) deep" in shown
    assert repr(explored).count("\n") == 2
    explored.save(tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == explored.html


def test_a_full_page_of_three_sands_fits_into_six_megabytes():
    whole = make.BYTES_PER_POINT * lattice.DEPTHS.size * lattice.DEMANDS.size
    assert 3 * whole * lattice.stored_hours(14).size < make.MOST_BYTES


# --- bad input ---------------------------------------------------------------------------------


def test_a_run_that_failed_leaves_its_corner_empty_with_its_reason(monkeypatch):
    really = lattice.run

    def failing(cases, hours, setting, tolerance):
        result = really(cases, hours, setting, tolerance)
        if cases[0].profile.depth > 44.0 and len(cases) > 4 and hours.size < 60:
            result.status.values[-1], result.status_text.values[-1] = 1, "The step shrank."
        return result

    monkeypatch.setattr(lattice, "run", failing)
    made = lattice.make_lattice(
        MIDDLE_MIX, GRAVEL, np.linspace(28, 46, 8), np.linspace(4, 6, 6), SETTING._replace(days=4)
    )
    assert set(made.failed) == {(7, 5, "The step shrank.")}
    assert arithmetic.failure(made, 45.0, 5.9) == "The step shrank."
    assert arithmetic.failure(made, 30.0, 4.5) == ""
    # A place on a line of the lattice does not lean on what lies beside it.
    assert arithmetic.failure(made, 46.0, float(made.demands[4])) == ""
    shown = page.make_page(
        make._checked(
            MIDDLE_MIX,
            TURF,
            LINES,
            **{**OPENING, **NARROW, "demand": 5.9},
            bases=None,
            start="soaked",
            first_day="2025-07-01",
            draws=10,
            name="",
        ),
        [page.Worked(made, None)],
    )
    assert "This spot, 45.0 cm (17.7 in) deep, has no answer: The step shrank." in shown.opening
    assert given_to_script(shown.html)["lattices"][0]["failed"] == [[7, 5, "The step shrank."]]


def test_too_coarse_a_lattice_is_refused_with_what_would_fit(monkeypatch):
    monkeypatch.setattr(make, "DEPTHS", np.array([15.0, 30.0, 45.0, 60.0]))
    with pytest.raises(sw.InputError, match=r"would miss a reading by .* give depths=\(") as caught:
        narrow_page(depths=(15.0, 60.0), days=2)
    low, high = re.search(r"depths=\(([\d.]+), ([\d.]+)\)", str(caught.value)).groups()
    assert 15.0 <= float(low) < float(high) <= 60.0


def test_every_fault_is_told_at_once():
    with pytest.raises(sw.InputError) as caught:
        sw.explore(
            {"mix": "sand"},
            "turf",
            (0.18, 0.14, 0.12),
            spot_depth="70 cm",
            green_depth="12",
            rod="2 cm",
            demand="12 mm/day",
            depths=("10 cm", "80 cm"),
            demands=(0.0, 12.0),
            bases={"open": sw.FreeDrainage(), "clay": "clay"},
            start="wet",
            days=30,
            first_day="soon",
            draws=2,
        )
    told = str(caught.value)
    for said in (
        "turf is 'turf'",
        "thresholds is (0.18, 0.14, 0.12)",
        'sand "mix"',
        'base "open"',
        "never comes to a rest",
        'base "clay"',
        "days is 30",
        "start is 'wet'",
        "draws is 2",
        "first_day",
        "depths go from 10.0 cm (3.9 in) to 80.0 cm (31.5 in)",
        "demands go from 0",
        "spot_depth is 70.0 cm",
        "green_depth",
        "rod is 2.0 cm",
        "demand is 12",
    ):
        assert said in told
    assert "give depths=(15, 60)" in told and "give demands=(0, 10)" in told


def test_too_many_lattices_are_refused_before_they_are_run():
    with pytest.raises(sw.InputError, match=r"10 in all; allowed: up to 4 .* 6 MB"):
        sw.explore({str(i): MIDDLE_MIX for i in range(10)}, TURF, LINES, **OPENING)
