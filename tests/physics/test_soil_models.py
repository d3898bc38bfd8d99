"""Soil models against their formulas in 30 digits, and against quadrature of Mualem's integral."""

import mpmath as mp
import numpy as np
import pytest
from grounds import UNIFORM_SAND
from scipy.special import hyp2f1

from soilwater.soils import BrooksCorey, Kosugi, TwoComponent, VanGenuchten, WithDryEnd
from soilwater.soils.published import MEASURED_SOILS, TEXTURE_CLASSES

SUCTIONS = np.concatenate([10.0 ** np.arange(-4, 7.5, 0.5), [3.0e1, 1.5e4, 10**6.8]])


@pytest.fixture(autouse=True)
def digits():
    # Thirty digits of result: the difference 1 - (t / (1 + t))^m loses up to 160 on the way.
    with mp.workdps(200):
        yield


def relative_errors(values, truth):
    return [float(abs(mp.mpf(float(v)) - t) / abs(t)) for v, t in zip(values, truth, strict=True)]


def exact(number):
    return mp.mpf(float(number))


# --- van Genuchten (1980) Eq. 3 and 8, written as printed there -----------------------------------


@pytest.mark.parametrize("n", [1.05, 1.3, 2.0, 5.0, 12.0])
@pytest.mark.parametrize("alpha", [0.002, 0.033, 1.1])
@pytest.mark.parametrize("tortuosity", [0.5, -1.0])
def test_van_genuchten_and_mualem_to_thirty_digits(alpha, n, tortuosity):
    soil = VanGenuchten(0.05, 0.41, alpha, n, 40.0, tortuosity=tortuosity)
    span = exact(0.41) - exact(0.05)
    m = 1 - 1 / exact(n)
    water, saturation, conductivity, capacity = [], [], [], []
    for suction in map(exact, SUCTIONS):
        t = (exact(alpha) * suction) ** exact(n)
        s = (1 + t) ** -m
        saturation.append(s)
        water.append(exact(0.05) + span * s)
        conductivity.append(40 * s ** exact(tortuosity) * (1 - (1 - s ** (1 / m)) ** m) ** 2)
        capacity.append(span * m * exact(n) * t / suction * (1 + t) ** (-m - 1))
    assert max(relative_errors(soil.water_content(SUCTIONS), water)) < 5e-15
    assert max(relative_errors(soil.effective_saturation(SUCTIONS), saturation)) < 1e-13
    assert max(relative_errors(soil.conductivity(SUCTIONS), conductivity)) < 5e-13
    assert max(relative_errors(soil.capacity(SUCTIONS), capacity)) < 2e-13


@pytest.mark.parametrize("n", [1.05, 2.0, 12.0])
def test_van_genuchten_inverse_to_thirty_digits(n):
    soil = VanGenuchten(0.0, 0.5, 0.033, n, 40.0)
    # The last ones are a trace of water, and a trace of air: 2^-40 of the pores.
    saturation = np.array([1e-6, 0.01, 0.25, 0.5, 0.75, 0.99, 1 - 2.0**-40])
    m = 1 - 1 / exact(n)
    truth = [(exact(s) ** (-1 / m) - 1) ** (1 / exact(n)) / exact(0.033) for s in saturation]
    assert max(relative_errors(soil.suction_at(0.5 * saturation), truth)) < 1e-12


# --- Mualem (1976): K = k_sat S^l [int_0^S dS/h / int_0^1 dS/h]^2, by quadrature ------------------


def van_genuchten_density(alpha, n):
    """-dS/dh * h of van Genuchten's S, by hand from Eq. 3."""
    alpha, n = exact(alpha), exact(n)
    return lambda h: (n - 1) * (alpha * h) ** n * (1 + (alpha * h) ** n) ** (1 / n - 2)


def mualem_by_quadrature(soil, saturation, density, kinks, suctions):
    """Relative conductivity from the integral of dS/h over the logarithm of h."""

    def integral(start):
        inner = [start, *sorted(mp.log(k) for k in kinks if mp.log(k) > start), mp.mpf(40)]
        return mp.quad(lambda x: density(mp.exp(x)) * mp.exp(-x), inner)

    whole = integral(mp.mpf(-60))
    tortuosity = exact(soil.tortuosity)
    return [
        soil.k_sat * saturation(h) ** tortuosity * (integral(mp.log(h)) / whole) ** 2
        for h in map(exact, suctions)
    ]


def test_conductivity_of_brooks_and_corey():
    soil = BrooksCorey(0.03, 0.40, 20.0, 1.7, 40.0, tortuosity=0.5)
    suctions = [21.0, 40.0, 150.0, 1e3, 1e5]
    with mp.workdps(30):
        entry, power = exact(20.0), exact(1.7)

        def saturation(h):
            return (entry / h) ** power if h > entry else mp.mpf(1)

        def density(h):
            return power * saturation(h) if h > entry else mp.mpf(0)

        truth = mualem_by_quadrature(soil, saturation, density, [20.0, 60.0, 1e3, 1e5], suctions)
        assert max(relative_errors(soil.conductivity(np.array(suctions)), truth)) < 1e-12


@pytest.mark.parametrize(("median", "spread"), [(35.0, 0.4), (300.0, 2.5)])
def test_conductivity_of_kosugi(median, spread):
    soil = Kosugi(0.03, 0.40, median, spread, 40.0, tortuosity=0.5)
    suctions = [1.0, 20.0, 40.0, 100.0, 1e3]
    with mp.workdps(40):
        centre, width = mp.log(exact(median)), exact(spread)

        def saturation(h):
            return mp.erfc((mp.log(h) - centre) / (width * mp.sqrt(2))) / 2

        def density(h):
            return mp.npdf(mp.log(h), centre, width)

        places = [mp.exp(centre + k * width) for k in range(-8, 9)]
        truth = mualem_by_quadrature(soil, saturation, density, places, suctions)
        assert max(relative_errors(soil.conductivity(np.array(suctions)), truth)) < 1e-11
        water = [exact(0.03) + (exact(0.4) - exact(0.03)) * saturation(exact(h)) for h in suctions]
        assert max(relative_errors(soil.water_content(np.array(suctions)), water)) < 1e-14


@pytest.mark.parametrize("tortuosity", [0.5, -1.0])
def test_conductivity_of_two_pore_systems(tortuosity):
    soil = TwoComponent(0.05, 0.60, 0.1, 3.0, 0.4, 0.004, 1.6, 15.0, tortuosity=tortuosity)
    suctions = [1.0, 10.0, 30.0, 100.0, 1e3, 1e5]
    with mp.workdps(30):
        share = exact(0.4)
        systems = [(1 - share, exact(0.1), exact(3.0)), (share, exact(0.004), exact(1.6))]
        densities = [(w, van_genuchten_density(a, n)) for w, a, n in systems]

        def saturation(h):
            return sum(w * (1 + (a * h) ** n) ** (1 / n - 1) for w, a, n in systems)

        def density(h):
            return sum(w * each(h) for w, each in densities)

        places = [1e-6, 1e-3, 0.1, 1.0, 10.0, 100.0, 1e3, 1e5, 1e8]
        truth = mualem_by_quadrature(soil, saturation, density, places, suctions)
        assert max(relative_errors(soil.conductivity(np.array(suctions)), truth)) < 1e-11
        held = [exact(0.05) + (exact(0.6) - exact(0.05)) * saturation(exact(h)) for h in suctions]
        assert max(relative_errors(soil.water_content(np.array(suctions)), held)) < 1e-14


def test_two_equal_pore_systems_are_one_van_genuchten_soil():
    one = VanGenuchten(0.05, 0.45, 0.03, 2.3, 10.0)
    two = TwoComponent(0.05, 0.45, 0.03, 2.3, 0.35, 0.03, 2.3, 10.0)
    for curve in ("water_content", "conductivity", "capacity"):
        np.testing.assert_allclose(getattr(two, curve)(SUCTIONS), getattr(one, curve)(SUCTIONS),
                                   rtol=1e-12)  # fmt: skip


def test_far_out_van_genuchten_is_brooks_and_corey():
    # van Genuchten (1980), Eq. 12 to 14: for alpha h >> 1 the entry suction is 1/alpha and
    # lambda = n - 1 (from memory).
    one = VanGenuchten(0.05, 0.45, 0.1, 3.0, 10.0)
    other = BrooksCorey(0.05, 0.45, 10.0, 2.0, 10.0)
    far = np.array([1e4, 1e5, 1e6])
    np.testing.assert_allclose(
        one.effective_saturation(far), other.effective_saturation(far), rtol=1e-6
    )


# --- capacity: the derivative of the formula, not of the code -------------------------------------


@pytest.mark.parametrize(
    ("soil", "kink"),
    [
        (BrooksCorey(0.03, 0.40, 20.0, 1.7, 40.0), 20.0),
        (Kosugi(0.03, 0.40, 35.0, 0.4, 40.0), None),
        (Kosugi(0.03, 0.40, 300.0, 2.5, 40.0), None),
        (TwoComponent(0.05, 0.60, 0.1, 3.0, 0.4, 0.004, 1.6, 15.0), None),
        (WithDryEnd(VanGenuchten(0.05, 0.41, 0.033, 5.0, 40.0)), None),
        (WithDryEnd(Kosugi(0.03, 0.40, 35.0, 0.4, 40.0)), None),
    ],
    ids=lambda value: type(value).__name__,
)
def test_capacity_is_the_slope_of_the_formula(soil, kink):
    suctions = np.array([0.5, 5.0, 21.0, 30.0, 60.0, 200.0, 1e3, 1e5, 6e6])
    with mp.workdps(40):
        truth = [-mp.diff(water_formula(soil), exact(h)) for h in suctions]
    capacity = soil.capacity(suctions)
    for h, value, expected in zip(suctions, capacity, truth, strict=True):
        if kink is not None and h < kink:
            assert value == expected == 0
        else:
            assert float(abs(value - expected)) < 1e-12 * float(abs(expected)) + 1e-30


def saturation_formula(soil):
    """Effective saturation of a capillary model as printed, in mpmath."""
    match soil:
        case VanGenuchten():
            alpha, n = exact(soil.alpha), exact(soil.n)
            return lambda h: (1 + (alpha * h) ** n) ** (1 / n - 1)
        case BrooksCorey():
            entry, power = exact(soil.entry_suction), exact(soil.pore_size_index)
            return lambda h: (entry / h) ** power if h > entry else mp.mpf(1)
        case Kosugi():
            centre, width = mp.log(exact(soil.median_suction)), exact(soil.spread)
            return lambda h: mp.erfc((mp.log(h) - centre) / (width * mp.sqrt(2))) / 2
        case TwoComponent():
            share = exact(soil.second_share)
            first = saturation_formula(VanGenuchten(0.0, 1.0, soil.alpha, soil.n, 1.0))
            second = saturation_formula(
                VanGenuchten(0.0, 1.0, soil.second_alpha, soil.second_n, 1.0)
            )
            return lambda h: (1 - share) * first(h) + share * second(h)


def film_formula(soil, *, exactly_zero):
    """Saturation of the films: Iden & Durner (2014), from memory.

    With ``exactly_zero`` divided by L(x_0) instead of x_0 - x_a.
    """
    oven_dry = mp.log10(exact(10**6.8))
    ratio = exact(soil.theta_r) / (exact(soil.theta_s) - exact(soil.theta_r))
    corner = 1 - mp.exp(-(ratio**2))
    match soil:
        case VanGenuchten():
            onset = -mp.log10(exact(soil.alpha))
            width = mp.mpf("0.1") + mp.mpf("0.2") / exact(soil.n) ** 2 * corner
        case Kosugi():
            onset = mp.log10(exact(soil.median_suction))
            width = mp.mpf("0.1") + mp.mpf("0.07") * exact(soil.spread) * corner

    def level(x):
        return x - onset + width * mp.log(1 + mp.exp((onset - x) / width))

    whole = level(oven_dry) if exactly_zero else oven_dry - onset
    return lambda h: 1 - level(mp.log10(h)) / whole


def water_formula(soil):
    """Water content as printed, in mpmath."""
    if isinstance(soil, WithDryEnd):
        inner = soil.soil
        pores, films = saturation_formula(inner), film_formula(inner, exactly_zero=True)
        dry = pores(exact(10**6.8))
        theta_r, theta_s = exact(inner.theta_r), exact(inner.theta_s)
        return lambda h: (theta_s - theta_r) * (pores(h) - dry) / (1 - dry) + theta_r * films(h)
    saturation = saturation_formula(soil)
    theta_r, theta_s = exact(soil.theta_r), exact(soil.theta_s)
    return lambda h: theta_r + (theta_s - theta_r) * saturation(h)


# --- the dry end: Peters (2013), Iden & Durner (2014), from memory --------------------------------

DRY_SOILS = [
    UNIFORM_SAND,
    VanGenuchten(0.065, 0.41, 0.075, 1.89, 4.4),
    VanGenuchten(0.07, 0.36, 0.005, 1.09, 0.02, tortuosity=-1.0),
    Kosugi(0.05, 0.40, 60.0, 1.2, 10.0),
]


@pytest.mark.parametrize("soil", DRY_SOILS, ids=lambda soil: f"{type(soil).__name__}")
def test_dry_end_reproduces_its_formulas(soil):
    suctions = np.array([0.1, 10.0, 33.0, 100.0, 1e3, 1.5e4, 1e5, 1e6, 5e6])
    dry = WithDryEnd(soil, 3e-4)
    held = [water_formula(dry)(exact(h)) for h in suctions]
    assert max(relative_errors(dry.water_content(suctions), held)) < 1e-13

    # The printed form of the films, with x_0 - x_a, holds to what the docstring states.
    pores = saturation_formula(soil)
    at_oven_dry = pores(exact(10**6.8))
    span = exact(soil.theta_s) - exact(soil.theta_r)
    printed = film_formula(soil, exactly_zero=False)
    for h, value in zip(map(exact, suctions), dry.water_content(suctions), strict=True):
        as_printed = span * (pores(h) - at_oven_dry) / (1 - at_oven_dry)
        as_printed += exact(soil.theta_r) * printed(h)
        assert float(abs(value - as_printed)) < 1e-8

    # Conductivity by hand: Mualem's integral between S_0 and S, and (s_0/s_a)^(-1.5 (1 - S_f)).
    films = film_formula(soil, exactly_zero=True)
    match soil:
        case VanGenuchten():
            m = 1 - 1 / exact(soil.n)
            onset = 1 / exact(soil.alpha)

            def integral(h):
                return 1 - (1 - pores(h) ** (1 / m)) ** m
        case Kosugi():
            onset = exact(soil.median_suction)
            shift = mp.exp(exact(soil.spread) ** 2)

            def integral(h):
                return pores(h * shift)

    integral_when_dry = integral(exact(10**6.8))
    conductivity = []
    for h in map(exact, suctions):
        water = (pores(h) - at_oven_dry) / (1 - at_oven_dry)
        ratio = (integral(h) - integral_when_dry) / (1 - integral_when_dry)
        capillary = water ** exact(soil.tortuosity) * ratio**2
        film = (exact(10**6.8) / onset) ** (mp.mpf("-1.5") * (1 - films(h)))
        conductivity.append(
            exact(soil.k_sat) * ((1 - exact(3e-4)) * capillary + exact(3e-4) * film)
        )
    assert max(relative_errors(dry.conductivity(suctions), conductivity)) < 5e-12


def test_films_carry_what_plain_sand_cannot():
    # Peters (2013): in dry sand the film conductivity falls with about the power -1.5 of suction.
    sand = UNIFORM_SAND
    dry = WithDryEnd(sand)
    assert sand.conductivity(1000.0) < 1e-10 * dry.conductivity(1000.0)
    slope = np.log(dry.conductivity(1e5) / dry.conductivity(1e3)) / np.log(100.0)
    assert slope == pytest.approx(-1.5, abs=0.01)
    assert dry.water_content(15_000.0) == pytest.approx(0.5 * sand.theta_r, rel=0.1)


# --- published parameter sets ---------------------------------------------------------------------


def test_hydrostatic_storage_of_the_sand_class():
    # Integral of S = h 2F1(m, 1/n; 1 + 1/n; -(alpha h)^n) over 30 cm, in mm; a closed form.
    sand = VanGenuchten.texture_class("sand")
    n = sand.n
    integral = 30.0 * hyp2f1(1 - 1 / n, 1 / n, 1 + 1 / n, -((sand.alpha * 30.0) ** n))
    closed = 10 * (sand.theta_r * 30.0 + (sand.theta_s - sand.theta_r) * integral)
    depth = np.linspace(0.0, 30.0, 200_001)
    assert 10 * np.trapezoid(sand.water_content(depth), depth) == pytest.approx(closed, abs=1e-6)
    assert closed == pytest.approx(58.061, abs=1e-3)


def test_texture_classes_in_house_units():
    # Carsel & Parrish (1988): conductivity of the sand class 712.8 cm/day, of silty clay 0.48
    # (from memory). Sand conducts best of the twelve and silty clay least.
    assert len(TEXTURE_CLASSES) == 12
    ordered = sorted(TEXTURE_CLASSES, key=lambda row: row.k_sat)
    assert ordered[0].name == "silty clay"
    assert ordered[-1].name == "sand"
    assert VanGenuchten.texture_class("sand").k_sat == pytest.approx(712.8 / 24)
    assert VanGenuchten.texture_class("silty clay").k_sat == pytest.approx(0.02)


def test_every_published_row_makes_a_soil():
    for row in TEXTURE_CLASSES:
        assert VanGenuchten.texture_class(row.name).theta_s == row.theta_s
    for row in MEASURED_SOILS:
        soil = VanGenuchten.measured(row.name, k_sat=row.k_sat or "30 cm/h")
        assert soil.alpha == row.alpha
        assert ("read in" in soil.source) != ("from memory" in soil.source)


def test_new_mexico_soil_in_house_units():
    # Celia, Bouloutas & Zarba (1990): k_sat 0.00922 cm/s (from memory); and the water contents of
    # the problem, -1000 and -75 cm, by Eq. 3 of van Genuchten with n = 2: S = (1 + t)^-1/2.
    soil = VanGenuchten.measured("New Mexico soil")
    assert soil.k_sat == pytest.approx(33.192)
    for suction in (75.0, 1000.0):
        expected = 0.102 + 0.266 / np.sqrt(1 + (0.0335 * suction) ** 2)
        assert soil.water_content(suction) == pytest.approx(expected, rel=1e-13)
