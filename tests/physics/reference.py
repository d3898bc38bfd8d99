"""What the checks in this folder share: still weather, test soils, closed-form solutions.

Everything here is written from published formulas with numpy and scipy alone; nothing of the
solver is used. Depth z is positive downward, matric head h negative when dry, fluxes positive
downward, lengths in cm, time in h.
"""

from dataclasses import asdict, dataclass

import numpy as np
import xarray as xr
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

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
    """Suction over depth for `start=`, from a function that gives head at a depth."""
    depth = profile.mesh(refinement).depth
    suction = -np.array([head(z) for z in depth])
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
        for top, solution in pieces:
            if depth >= top:
                return float(solution(depth)[0])
        raise ValueError(depth)

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


def exponential_steady_head(soil, flux, height, base_head=0.0):
    """Head [cm] in steady flow (downward positive) at a height above the base, exponential soil.

    Gardner (1958), Soil Sci. 85:228: K = q + (K(base) - q) e^(-alpha height).
    """
    share = flux / soil.k_sat
    base = np.exp(soil.alpha * base_head)
    return np.log(share + (base - share) * np.exp(-soil.alpha * np.asarray(height))) / soil.alpha
