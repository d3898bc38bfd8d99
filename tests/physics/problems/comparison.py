"""What a verification problem hands over: numbers held to bounds, and a picture's data.

Tests assert that no row misses its bound; the page "Verification" of the documentation prints the
same rows and draws the same data. There is no second copy of any number.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Row:
    """A number, what it should be, and by how much it may differ.

    `one_sided`: the number may exceed the reference by any amount, and fall short by the bound.
    """

    quantity: str
    reference: float
    ours: float
    bound: float
    one_sided: bool = False

    @property
    def difference(self):
        return self.ours - self.reference

    @property
    def holds(self):
        # Written so that a NaN does not hold.
        size = -self.difference if self.one_sided else abs(self.difference)
        return bool(size <= self.bound)


@dataclass(frozen=True)
class Curve:
    """One line of the reference and one row of marks of ours, each (x, y) or None."""

    label: str
    reference: tuple | None
    ours: tuple | None
    reference_is_points: bool = False
    ours_is_line: bool = False


@dataclass(frozen=True)
class Panel:
    curves: tuple[Curve, ...]
    x_label: str
    y_label: str
    title: str = ""
    depth_down: bool = False
    log_x: bool = False
    log_y: bool = False
    x_ticks: tuple[float, ...] = ()
    x_limits: tuple[float | None, float | None] = (None, None)
    y_limits: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True)
class Comparison:
    """Rows and picture of one problem, as computed."""

    rows: tuple[Row, ...]
    panels: tuple[Panel, ...]
    caption: str = "Lines: reference. Circles: soilwater."

    @property
    def misses(self):
        return [row for row in self.rows if not row.holds]


@dataclass(frozen=True)
class Problem:
    """A problem with a known answer.

    `statement` says what is solved, `source` where the answer comes from; `solve` computes both
    sides; `needs` names a package beyond those of the library without which it cannot.
    """

    title: str
    statement: str
    source: str
    solve: Callable[[], Comparison]
    needs: str = ""


def where_worst(quantity, place, reference, ours, bound, unit="cm"):
    """Row at the place where two profiles or series differ most; says where that is."""
    reference, ours = np.broadcast_arrays(reference, ours)
    difference = np.abs(ours - reference)
    # A NaN anywhere is the worst there is.
    i = int(np.argmax(np.where(np.isnan(difference), np.inf, difference)))
    return Row(
        f"{quantity}, where it differs most (at {place[i]:.3g} {unit})",
        float(reference[i]),
        float(ours[i]),
        bound,
    )


def relative(quantity, reference, ours, share):
    """Row whose bound is a share of the reference."""
    return Row(quantity, float(reference), float(ours), share * abs(float(reference)))


def profile_panel(curves, title="", x_label="matric head (cm)", **keywords):
    """Panel of something over depth, the surface on top."""
    return Panel(tuple(curves), x_label, "depth (cm)", title, depth_down=True, **keywords)


def thinned(x, y, count=24):
    """About so many points, evenly along the drawn curve, so that marks do not run together."""
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    spread = [np.ptp(v) or 1.0 for v in (x, y)]
    along = np.append(0.0, np.cumsum(np.hypot(np.diff(x) / spread[0], np.diff(y) / spread[1])))
    wanted = np.linspace(0.0, along[-1], count)
    i = np.unique(np.searchsorted(along, wanted).clip(max=x.size - 1))
    return x[i], y[i]
