"""What the checks in this folder share: still weather, test soils, closed-form solutions.

Everything here is written from published formulas with numpy and scipy alone; nothing of the
solver is used. Depth z is positive downward, matric head h negative when dry, fluxes positive
downward, lengths in cm, time in h.
"""

from dataclasses import asdict, dataclass

import numpy as np
import xarray as xr
from scipy.integrate import cumulative_simpson, solve_ivp
from scipy.linalg import solve_banded
from scipy.optimize import brentq
from scipy.special import erfc

from soilwater import Layer, Profile, Weather

START = np.datetime64("2025-07-01T00:00", "ns")


def hours_after_start(hours):
    """Times some hours after the start of every run here."""
    return START + np.round(np.asarray(hours) * 3.6e12).astype("timedelta64[ns]")


def weather(hours, rain=0.0, reference_et=0.0):
    """Constant rain [cm/h] and even reference evapotranspiration [cm/h] for some hours."""
    edges = hours_after_start([0.0, hours])
    return Weather(edges, [10.0 * rain * hours], [10.0 * reference_et * hours])


def one_soil(soil, depth, base):
    """A profile of one soil."""
    return Profile((Layer(soil, depth, "soil"),), base)


def start_from(profile, head, refinement=1.0):
    """Suction over depth for `start=`, from a function that gives head at depths."""
    depth = profile.mesh(refinement).depth
    suction = -np.broadcast_to(head(depth), depth.shape)
    return xr.DataArray(suction, {"depth": depth}, ("depth",), name="suction")


def head_at(run, depths, time=-1):
    """Matric head at some depths [cm], straight between nodes."""
    return np.interp(depths, run.node_depth, -run.node_suction.isel(time=time))


def depth_where(run, suction, time=-1):
    """Depth [cm] at which a suction is first reached from above, straight between nodes."""
    values, depth = run.node_suction.isel(time=time).values, run.node_depth.values
    i = int(np.flatnonzero(values >= suction)[0])
    share = (suction - values[i - 1]) / (values[i] - values[i - 1])
    return float(depth[i - 1] + share * (depth[i] - depth[i - 1]))


def observed_order(errors):
    """Order of convergence [1] from errors at a step that is halved from each to the next."""
    errors = np.asarray(errors)
    return np.log2(errors[:-1] / errors[1:])


# Test soils: curves that are no models of the package, through the same tables of the kernels.


class _TestSoil:
    name = ""
    source = "test soil"

    def to_dict(self):
        return {"model": type(self).__name__, **asdict(self)}

    @property
    def dry_end_water_content(self):
        return self.theta_r

    def water_content(self, suction):
        share = self.effective_saturation(np.maximum(suction, 0.0))
        return self.theta_r + (self.theta_s - self.theta_r) * share


@dataclass(frozen=True)
class ExponentialSoil(_TestSoil):
    """Conductivity and water both exponential in head, after Gardner (1958), Soil Sci. 85:228."""

    theta_r: float
    theta_s: float
    alpha: float
    k_sat: float

    @property
    def suction_scale(self):
        return 1.0 / self.alpha

    def effective_saturation(self, suction):
        return np.exp(-self.alpha * np.asarray(suction))

    def conductivity(self, suction):
        return self.k_sat * np.exp(-self.alpha * np.asarray(suction))


@dataclass(frozen=True)
class RationalSoil(_TestSoil):
    """Water and conductivity as a/(a + suction^b), the curves of Haverkamp et al. (1977).

    Soil Sci. Soc. Am. J. 41:285. With the conductivity alone also that of Gardner (1958).
    """

    theta_r: float
    theta_s: float
    water_scale: float
    water_power: float
    k_sat: float
    conductivity_scale: float
    conductivity_power: float

    @property
    def suction_scale(self):
        return self.water_scale ** (1.0 / self.water_power)

    def effective_saturation(self, suction):
        return 1.0 / (1.0 + np.asarray(suction) ** self.water_power / self.water_scale)

    def suction_at(self, water_content):
        share = (water_content - self.theta_r) / (self.theta_s - self.theta_r)
        return (self.water_scale * (1.0 / share - 1.0)) ** (1.0 / self.water_power)

    def conductivity(self, suction):
        power = np.asarray(suction) ** self.conductivity_power
        return self.k_sat / (1.0 + power / self.conductivity_scale)


# Steady flow.


def suction_that_conducts(soil, flux):
    """Suction [cm] at which a soil conducts a flux at unit gradient."""
    logarithm = brentq(lambda x: soil.conductivity(10.0**x) - flux, -9.0, 6.0, xtol=1e-14)
    return float(10.0**logarithm)


def steady_head_by_quadrature(layers, flux, base_head):
    """Head over depth at constant flux through layers: dh/dz = 1 - q/K(h), from the base up.

    Darcy's law, integrated with scipy at 1e-10; no part of the solver under test. `layers` are
    (soil, thickness) from the top; returns a function of depth.
    """
    pieces, bottom, head = [], sum(thickness for _, thickness in layers), base_head
    for soil, thickness in reversed(layers):

        def slope(z, h, soil=soil):
            return 1.0 - flux / soil.conductivity(np.maximum(-h, 0.0))

        top = bottom - thickness
        path = solve_ivp(
            slope, (bottom, top), [head], "LSODA", rtol=1e-10, atol=1e-10, dense_output=True
        )
        pieces.append((top, path.sol))
        bottom, head = top, float(path.y[0, -1])

    def at(depth):
        heads = np.full(np.shape(depth), np.nan)
        for top, solution in pieces:
            inside = np.isnan(heads) & (depth >= top - 1e-9)
            heads[inside] = solution(depth[inside])[0]
        return heads

    return at


# Srivastava & Yeh (1991), Water Resources Research 27:753: exponential soil over a water table.


def srivastava_yeh_head(soil, depth, flux_before, flux_after, hours, height):
    """Head [cm] at heights above a water table after the flux at the surface has changed.

    Eq. 11-18 of the paper for a head of 0 at the base (form checked against one evaluated row).
    """
    length = soil.alpha * depth
    z = soil.alpha * np.asarray(height, dtype=float)
    time = soil.alpha * soil.k_sat * hours / (soil.theta_s - soil.theta_r)
    before, after = flux_before / soil.k_sat, flux_after / soil.k_sat

    def characteristic(root):
        return np.sin(root * length) + 2.0 * root * np.cos(root * length)

    # One root of tan(root * length) + 2 root = 0 in each (k - 1/2, k) pi / length.
    count = 2 + int(length / np.pi * np.sqrt(40.0 / time + 1.0))
    edge = np.pi / length
    roots = np.array(
        [brentq(characteristic, (k - 0.5) * edge, k * edge, xtol=1e-15) for k in range(1, count)]
    )
    terms = (
        np.sin(np.outer(z, roots))
        * np.sin(roots * length)
        * np.exp(-(roots**2) * time)
        / (1.0 + length / 2.0 + 2.0 * roots**2 * length)
    )
    steady = after - (after - 1.0) * np.exp(-z)
    transient = 4.0 * (after - before) * np.exp((length - z) / 2.0 - time / 4.0) * terms.sum(axis=1)
    return np.log(steady - transient) / soil.alpha


def travelling_front(soil, flux, before, n_points=2000):
    """Shape of a front under a constant flux into soil at a suction before [cm].

    A front that keeps its shape moves at c = (q - K_i)/(theta_q - theta_i), and the flux at each
    point of it is K_i + c (theta - theta_i), so dz/dh = 1/(1 - flux/K) (Philip 1957, Soil Science
    83:345). Returns shares of the step in water content, from wet to dry, and how much deeper than
    its middle each lies [cm].
    """
    dry, wet = soil.water_content(before), soil.water_content(suction_that_conducts(soil, flux))
    slow = soil.conductivity(before)
    # Closer to the ends than this the front is as good as flat, and its depth has no bound.
    share = 1.0 - 1.0 / (1.0 + np.exp(-np.linspace(-7.0, 7.0, n_points)))
    suction = np.array([soil.suction_at(dry + x * (wet - dry)) for x in share])
    gradient = 1.0 - (slow + share * (flux - slow)) / soil.conductivity(suction)
    depth = cumulative_simpson(-1.0 / gradient, x=suction, initial=0.0)
    return share, depth - np.interp(0.5, share[::-1], depth[::-1])


def exponential_steady_head(soil, flux, height, base_head=0.0):
    """Head [cm] in steady flow (downward positive) at a height above the base, exponential soil.

    Gardner (1958), Soil Sci. 85:228: K = q + (K(base) - q) e^(-alpha height).
    """
    share = flux / soil.k_sat
    base = np.exp(soil.alpha * base_head)
    return np.log(share + (base - share) * np.exp(-soil.alpha * np.asarray(height))) / soil.alpha


# Layered exponential soil of one alpha: the two-layer problem of Srivastava & Yeh (1991).


def _layer_of(layers, height):
    ends = np.concatenate([[0.0], np.cumsum([thickness for _, thickness in layers])])
    return ends, np.clip(np.searchsorted(ends, height, side="left") - 1, 0, len(layers) - 1)


def layered_steady_head(layers, flux, height):
    """Head [cm] at heights above a water table at a steady flux, layers from the base up."""
    height = np.asarray(height, dtype=float)
    ends, layer = _layer_of(layers, height)
    alpha, at_base = layers[0][0].alpha, 1.0
    k = np.empty(height.size)
    for i, (soil, thickness) in enumerate(layers):
        share = flux / soil.k_sat
        inside = layer == i
        k[inside] = share + (at_base - share) * np.exp(-alpha * (height[inside] - ends[i]))
        at_base = share + (at_base - share) * np.exp(-alpha * thickness)
    return np.log(k) / alpha


def layered_srivastava_yeh_head(layers, flux_before, flux_after, hours, height):
    """Head [cm] at heights above a water table, layers from the base up as (soil, thickness).

    With one alpha for all layers k = e^(alpha h) is continuous and the problem linear: in each
    layer (theta_s - theta_r)/k_sat dk/dt = k''/alpha + k'. Its Laplace transform is solved layer by
    layer and inverted along the contour of Talbot (1979), J. Inst. Math. Appl. 23:97, with the
    fixed parameters of Abate & Valko (2004), Int. J. Numer. Methods Eng. 60:979 (from memory).
    """
    alpha, n = layers[0][0].alpha, len(layers)
    height = np.asarray(height, dtype=float)
    ends, layer = _layer_of(layers, height)

    def transform(p):
        """Change of k since the start, transformed; two coefficients a layer."""
        rows, right = np.zeros((2 * n, 2 * n), complex), np.zeros(2 * n, complex)
        exponents = []
        for soil, _ in layers:
            root = np.sqrt(alpha**2 / 4.0 + alpha * p * (soil.theta_s - soil.theta_r) / soil.k_sat)
            exponents.append((-alpha / 2.0 + root, -alpha / 2.0 - root))
        # Coefficients are of e^(a (z - top)) and e^(b (z - bottom)), which never overflow.
        rows[0, :2] = np.exp(-exponents[0][0] * layers[0][1]), 1.0
        for i in range(n):
            a, b = exponents[i]
            k_sat, falling = layers[i][0].k_sat, np.exp(b * layers[i][1])
            top_k = (1.0, falling)
            top_flux = (k_sat * (a / alpha + 1.0), k_sat * (b / alpha + 1.0) * falling)
            if i == n - 1:
                rows[2 * n - 1, 2 * i : 2 * i + 2] = top_flux
                right[2 * n - 1] = (flux_after - flux_before) / p
                continue
            above_a, above_b = exponents[i + 1]
            above_k, rising = layers[i + 1][0].k_sat, np.exp(-above_a * layers[i + 1][1])
            rows[2 * i + 1, 2 * i : 2 * i + 4] = *top_k, -rising, -1.0
            rows[2 * i + 2, 2 * i : 2 * i + 4] = (
                *top_flux,
                -above_k * (above_a / alpha + 1.0) * rising,
                -above_k * (above_b / alpha + 1.0),
            )
        c = np.linalg.solve(rows, right).reshape(n, 2)
        a, b = np.array(exponents)[layer].T
        return c[layer, 0] * np.exp(a * (height - ends[layer + 1])) + c[layer, 1] * np.exp(
            b * (height - ends[layer])
        )

    count = 32
    angle = np.arange(1, count) * np.pi / count
    speed = 2.0 * count / (5.0 * hours)
    change = 0.5 * np.exp(speed * hours) * transform(complex(speed)).real
    for theta in angle:
        p = speed * theta * (1.0 / np.tan(theta) + 1.0j)
        slope = 1.0 + 1.0j * (theta + (theta / np.tan(theta) - 1.0) / np.tan(theta))
        change += (np.exp(p * hours) * transform(p) * slope).real
    before = np.exp(alpha * layered_steady_head(layers, flux_before, height))
    return np.log(before + speed / count * change) / alpha


# Broadbridge & White (1988), Water Resources Research 24:145: constant flux, realistic curves.


@dataclass(frozen=True)
class BroadbridgeWhiteSoil(_TestSoil):
    """Soil with D = C(C-1)/(C-T)^2 and K = (C-1) T^2/(C-T) in units of its length and k_sat."""

    theta_r: float
    theta_s: float
    length: float
    k_sat: float
    c: float

    @property
    def suction_scale(self):
        return self.length

    def effective_saturation(self, suction):
        # D = K dh/dT gives h = 1 - 1/T - ln((C - T)/((C - 1) T))/C, which rises with T: bisected
        # in the logarithm of T.
        wanted = -np.asarray(suction, dtype=float) / self.length
        low, high = np.full(wanted.shape, -60.0), np.zeros(wanted.shape)
        for _ in range(70):
            middle = 0.5 * (low + high)
            too_wet = self._head(np.exp(middle)) > wanted
            low, high = np.where(too_wet, low, middle), np.where(too_wet, middle, high)
        return np.exp(0.5 * (low + high))

    def _head(self, t):
        return 1.0 - 1.0 / t - np.log((self.c - t) / ((self.c - 1.0) * t)) / self.c

    def conductivity(self, suction):
        t = self.effective_saturation(suction)
        return self.k_sat * (self.c - 1.0) * t**2 / (self.c - t)


def broadbridge_white(c, rate, time, x):
    """Depth and saturation under a constant rate, all dimensionless, at parameters x.

    u_tau = u_xx/4 with u(x, 0) = e^(2 rho x) and u(0, tau) = e^(rho (rho + 1) tau), solved by the
    method of images (Carslaw & Jaeger 1959, from memory).
    """
    rho, tau = rate / (4.0 * c * (c - 1.0)), 4.0 * c * (c - 1.0) * time
    beta, root = rho * (rho + 1.0), np.sqrt(tau)

    def u(x):
        start = np.exp(rho**2 * tau + 2.0 * rho * x) * erfc(-(x + rho * tau) / root)
        start -= np.exp(rho**2 * tau - 2.0 * rho * x) * erfc((x - rho * tau) / root)
        edge = np.exp(beta * tau - 2.0 * x * np.sqrt(beta)) * erfc(x / root - np.sqrt(beta * tau))
        edge += np.exp(beta * tau + 2.0 * x * np.sqrt(beta)) * erfc(x / root + np.sqrt(beta * tau))
        return 0.5 * (start + edge)

    x = np.asarray(x, dtype=float)
    step = 1e-5
    slope = (u(x + step) - u(x - step)) / (2.0 * step)
    saturation = c * (1.0 - 1.0 / (2.0 * rho + 1.0 - slope / u(x)))
    depth = (beta * tau + (2.0 * rho + 1.0) * x - np.log(u(x))) / c
    return depth, saturation


def broadbridge_white_drying(c, before, rate, time, y):
    """Depth and saturation while water leaves the surface of such a soil at a constant rate.

    All dimensionless; `y` is a parameter that grows with depth. The soil starts evenly at a
    saturation `before` and is deep. The transformation of Broadbridge & White (1988), for another
    start and a flux R = -rate at the surface (derived here): with the deficit of water C - T as
    measure of distance, P = T/(C - T) obeys Burgers' equation, and P = -u'/u turns it into

        u_t = a u'',  a = C (C - 1),  u = e^(-P_before X) at the start,  u = e^(R t) at X = R t.

    In a frame that moves with the surface this is conduction of heat under a changing surface
    temperature (Carslaw & Jaeger 1959, from memory); its exponents may be complex. Gravity is in.
    """
    a, flux, p = c * (c - 1.0), -rate, before / (c - before)
    k = flux / (2.0 * a) - p
    beta = complex(flux + flux**2 / (4.0 * a))
    root, s = np.sqrt(a * time), np.sqrt(beta / a)

    def u(y):
        start = np.exp(a * k**2 * time + k * y) * erfc(-(y + 2.0 * a * k * time) / (2.0 * root))
        start -= np.exp(a * k**2 * time - k * y) * erfc((y - 2.0 * a * k * time) / (2.0 * root))
        edge = np.exp(beta * time - y * s) * erfc(y / (2.0 * root) - np.sqrt(beta * time))
        edge += np.exp(beta * time + y * s) * erfc(y / (2.0 * root) + np.sqrt(beta * time))
        moving = np.exp(-flux * y / (2.0 * a) - flux**2 * time / (4.0 * a))
        return 0.5 * (start + edge.real) * moving

    y = np.asarray(y, dtype=float)
    step = 1e-5
    share = -(u(y + step) - u(y - step)) / (2.0 * step) / u(y)
    depth = (y - np.log(u(y)) + np.log(u(np.zeros(1)))) / c
    return depth, c * share / (1.0 + share)


# Philip (1957), Soil Science 83:345: early infiltration I = S t^(1/2) + (A + K_before) t.


def _sorption(soil, surface_suction, suction_before, n_points):
    """Sorptivity [cm h^-1/2], suctions, and P = -2 D d(theta)/d(phi) at them.

    From the flux-concentration relation iterated to its fixed point (Philip & Knight 1974, Soil
    Science 117:1); for wetting and, with a dry surface, for drying.
    """
    suction = np.geomspace(suction_before, surface_suction, n_points)
    theta, k = soil.water_content(suction), soil.conductivity(suction)
    change, width = np.abs(theta - theta[0]), np.abs(np.diff(theta))
    # D d(theta) = K dh, so that a saturated surface with its infinite D is no special case.
    k_dh = 0.5 * (k[1:] + k[:-1]) * np.abs(np.diff(suction))
    f = change / change[-1]
    for _ in range(60):
        f_middle = 0.5 * (f[1:] + f[:-1])
        sorptivity = np.sqrt(2.0 * np.sum(0.5 * (change[1:] + change[:-1]) / f_middle * k_dh))
        phi = 2.0 / sorptivity * np.append(np.cumsum((k_dh / f_middle)[::-1])[::-1], 0.0)
        p = np.append(0.0, np.cumsum(0.5 * (phi[1:] + phi[:-1]) * width))
        f = p / p[-1]
    return float(sorptivity), suction, p


def desorptivity(soil, surface_suction, suction_before):
    """Water lost to a dry surface over the square root of time [cm h^-1/2], without gravity."""
    return _sorption(soil, surface_suction, suction_before, 6001)[0]


def philip_series(soil, wet_suction, dry_suction, n_points=6001):
    """Sorptivity S [cm h^-1/2] and the second coefficient, K before included [cm/h].

    The second term from Philip's linear equation (P^2/4D) Y'' - Y = -(K - K_before) with
    Y(dry) = 0 and Y'(wet) = 0; its value at the wet end is what gravity adds.
    """
    sorptivity, suction, p = _sorption(soil, wet_suction, dry_suction, n_points)
    theta, k = soil.water_content(suction), soil.conductivity(suction)
    # Linear equation on the uneven grid of theta, as a tridiagonal system.
    width = np.diff(theta)
    diffusivity = k / soil.capacity(suction)
    weight = p**2 / (4.0 * diffusivity)
    bands = np.zeros((3, n_points))
    right = -(k - k[0])
    span = width[1:] + width[:-1]
    bands[2, :-2] = weight[1:-1] * 2.0 / (width[:-1] * span)
    bands[0, 2:] = weight[1:-1] * 2.0 / (width[1:] * span)
    bands[1, 1:-1] = -weight[1:-1] * 2.0 / (width[1:] * width[:-1]) - 1.0
    bands[1, 0], bands[0, 1], right[0] = 1.0, 0.0, 0.0
    # Y' = 0 at the wet end: the node beyond mirrors the one before.
    bands[2, -2] = weight[-1] * 2.0 / width[-1] ** 2
    bands[1, -1] = -bands[2, -2] - 1.0
    y = solve_banded((1, 1), bands, right)
    return sorptivity, float(y[-1] + k[0])
