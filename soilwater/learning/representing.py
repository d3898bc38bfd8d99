"""Few draws picked and paired so that they stand for thousands.

How many of a hundred draws read less than a line is uncertain by four in a hundred, and amounts of
water with it. But most of how dry a draw gets follows from what is known of it before it is run:
its sand at some suctions, its base, its weather. Few are therefore picked whose energy distance
from all of them is small (support points: Mak & Joseph 2018, Annals of Statistics 46:2562, from
memory), by exchange. What each has of its own is then dealt out so that it goes along with nothing
else (Iman & Conover 1982, Communications in Statistics B 11:311, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from soilwater.words.arrays import FloatArray

_SWEEPS = 8
"""How often each draw is offered an exchange with any other: after that hardly one is taken."""
_AT_ONCE = 200
"""Of so many draws distances from all are worked out together."""


def standard(features: FloatArray) -> FloatArray:
    """Features less their means, in standard deviations; without those that hardly differ.

    Parameters
    ----------
    features : ndarray, shape (draws, features)
        In any units.
    """
    middle, width = features.mean(axis=0), features.std(axis=0)
    differ = width > 1e-9 * (1.0 + np.abs(middle))
    found: FloatArray = (features[:, differ] - middle[differ]) / width[differ]
    return found


def representing(
    features: FloatArray,
    among: NDArray[np.int64],
    count: int,
    rng: np.random.Generator,
    alike: NDArray[np.int64] | None = None,
) -> NDArray[np.int64]:
    """Pick some of many draws so that they are spread as all of them are.

    Parameters
    ----------
    features : ndarray, shape (draws, features)
        What is known of the draws, in the units in which distances between them count.
    among : ndarray of int
        Numbers of those that may be picked, more than `count`.
    count : int
        How many are picked.
    rng : numpy.random.Generator
        Tells where the exchange starts: of picks that are as good, another finds others.
    alike : ndarray of int, shape (draws,), optional
        As many are picked of each number in it, to one; anything is exchanged when left out.

    Returns
    -------
    ndarray of int
        Their numbers.
    """
    if features.shape[1] == 0:
        return rng.permutation(among)[:count]
    kind = np.zeros(len(features), dtype=np.int64) if alike is None else alike
    kind, known = kind[among], features[among]
    # All distances at once would be gigabytes, and far from the processor those of a thousand are.
    parts = np.array_split(known, -(-len(known) // _AT_ONCE))
    far = np.concatenate([_distances(part, features).mean(axis=1) for part in parts])
    chosen = _first(kind, count, rng)
    free = np.ones(among.size, dtype=bool)
    free[chosen] = False
    near = _distances(known[chosen], known)
    total = near.sum(axis=0)
    for _ in range(_SWEEPS):
        before = chosen.copy()
        for place, out in enumerate(before.tolist()):
            into = np.flatnonzero(free & (kind == kind[out]))
            if not into.size:
                continue
            # What the exchange adds to the energy distance, but for a factor.
            more = far[into] - far[out] - (total[into] - near[place, into] - total[out]) / count
            best = int(into[np.argmin(more)])
            if more.min() < -_ROUNDED:
                total -= near[place]
                near[place] = _distances(known[[best]], known)
                total += near[place]
                chosen[place], free[best], free[out] = best, False, True
        if np.array_equal(before, chosen):
            break
    picked: NDArray[np.int64] = among[chosen]
    return picked


def one_of_each(features: FloatArray, all_of: FloatArray) -> NDArray[np.int64]:
    """Choose one possibility of each draw so that together they are spread as all are.

    Parameters
    ----------
    features : ndarray, shape (draws, possibilities, features)
        What is known of each possibility, in the units in which distances between them count.
    all_of : ndarray, shape (all, features)
        The same of all that shall be represented.

    Returns
    -------
    ndarray of int, shape (draws,)
        Which is chosen of each.
    """
    count, each = features.shape[:2]
    known = features.reshape(count * each, -1)
    far = _distances(known, all_of).mean(axis=1).reshape(count, each)
    chosen = np.zeros(count, dtype=np.int64)
    # Distances of what is chosen from all that may be.
    near = _distances(features[:, 0], known).reshape(count, count, each)
    for _ in range(_SWEEPS):
        before = chosen.copy()
        for i in range(count):
            # The energy distance with each of them, but for a factor and what they all add.
            beside = near[:, i].sum(axis=0) - near[i, i]
            best = int(np.argmin(far[i] - beside / count))
            if best != chosen[i]:
                chosen[i] = best
                near[i] = _distances(features[i, best : best + 1], known).reshape(count, each)
        if np.array_equal(before, chosen):
            break
    return chosen


def dealt_out(known: FloatArray, own: FloatArray) -> NDArray[np.int64]:
    """Order `own` so that it goes along with what is known of draws as little as can be.

    Parameters
    ----------
    known : ndarray, shape (draws, features)
        In standard deviations.
    own : ndarray, shape (draws, columns)
        What is to be dealt out to them.

    Returns
    -------
    ndarray of int, shape (draws,)
        For each draw the row of `own` it is given.
    """
    order = np.arange(len(known))
    product = known.T @ own
    # Each draw with the products, and with each other: an exchange changes all by a multiple.
    with_product, beside = known @ product, known @ known.T
    length = np.diag(beside)
    for _ in range(_SWEEPS):
        before = order.copy()
        for i in range(len(known)):
            # By what each exchange with another would change the square of the products.
            other = own[order] - own[order[i]]
            along = np.sum((with_product[i] - with_product) * other, axis=1)
            apart = length[i] + length - 2.0 * beside[i]
            more = 2.0 * along + apart * np.sum(other**2, axis=1)
            best = int(np.argmin(more))
            if more[best] < -_ROUNDED * np.sum(product**2):
                step = other[best]
                product = product + np.outer(known[i] - known[best], step)
                with_product = with_product + np.outer(beside[i] - beside[best], step)
                order[[i, best]] = order[[best, i]]
        if np.array_equal(before, order):
            break
    return order


def dealt_evenly(known: FloatArray, own: FloatArray) -> NDArray[np.int64]:
    """Order `own` so that whatever of it is given is given to draws of all sorts.

    The energy distance of what is given together from all that could be is made small, by
    exchange: where little goes with much, draws that go along with nothing may still have all the
    dry weather in the middle. Quick where `own` has few rows that differ.

    Parameters
    ----------
    known : ndarray, shape (draws, features)
        What is known of the draws, in the units in which distances between them count.
    own : ndarray, shape (draws, columns)
        What is to be dealt out to them, in such units.

    Returns
    -------
    ndarray, shape (draws,)
        For each draw the row of `own` it is given.
    """
    rows, kind = np.unique(own, axis=0, return_inverse=True)
    kind = kind.ravel()
    count, order = len(known), np.arange(len(known))
    near, apart = _distances(known, known) ** 2, _distances(rows, rows) ** 2

    def beside(draw: int, given: int) -> FloatArray:
        """Distances of every draw, whatever it were given, from one that is given something."""
        found: FloatArray = np.sqrt(near[:, draw, None] + apart[:, given])
        return found

    total = np.zeros((count, len(rows)))
    for i, k in enumerate(kind.tolist()):
        total += beside(i, k)
    share = np.bincount(kind) / count
    far = np.array([np.sqrt(near[:, :, None] + each).mean(axis=1) @ share for each in apart]).T
    for _ in range(_SWEEPS):
        before = order.copy()
        for i in range(count):
            has, a = kind[order], int(kind[order[i]])
            # What each exchange adds to the energy distance, but for a factor.
            more = far[i, has] - far[i, a] + far[:, a] - far[np.arange(count), has]
            less = total[i, has] - total[i, a] + total[:, a] - total[np.arange(count), has]
            less -= 2.0 * (np.sqrt(apart[a, has]) + np.sqrt(near[i]))
            less += 2.0 * np.sqrt(near[i] + apart[a, has])
            gain = np.where(has == a, 0.0, less / count - more)
            best = int(np.argmax(gain))
            if gain[best] > _ROUNDED:
                b = int(has[best])
                total += beside(i, b) - beside(i, a) + beside(best, a) - beside(best, b)
                order[[i, best]] = order[[best, i]]
        if np.array_equal(before, order):
            break
    return order


_ROUNDED = 1e-9
"""A gain of less is none."""


def _first(kind: NDArray[np.int64], count: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Pick as many of each kind, to one, by chance."""
    mixed = rng.permutation(kind.size)
    # How many of its kind come before it: those that have the fewest go first.
    order = mixed[np.argsort(kind[mixed], kind="stable")]
    sizes = np.bincount(kind)
    turn = np.concatenate([np.arange(size) for size in sizes])
    rest = rng.permutation(sizes.size)[kind[order]]
    first: NDArray[np.int64] = order[np.lexsort((rest, turn))][:count]
    return first


def _distances(rows: FloatArray, others: FloatArray) -> FloatArray:
    """Distances of every row from every other, shape (rows, others)."""
    from scipy.spatial.distance import cdist

    # Not by a product of matrices: threads that libraries start for it wait for one another.
    found: FloatArray = cdist(rows, others)
    return found
