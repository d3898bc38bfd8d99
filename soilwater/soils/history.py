"""What a sand remembers: the suctions at which it turned from drying to wetting and back.

Between two turns suction runs one way. A turn is forgotten as soon as suction passes it again, so
that what is kept is a nest: each pair of turns lies within the pair before it. Nothing else of the
past matters, least of all how fast it went.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from soilwater.soils.dry_end import OVEN_DRY_SUCTION
from soilwater.words.errors import Faults
from soilwater.words.forms import Suction
from soilwater.words.several import items_of
from soilwater.words.units import number_to_house


@dataclass(frozen=True)
class WettingHistory:
    """Suctions at which a sand turned, the oldest that still counts first.

    Parameters
    ----------
    turns : tuple of float
        Suctions [cm], a dry turn first, then a wet one, and so on in turn; each lies between the
        two before it. The sand began flooded, which needs no entry.
    suction : float
        Where the sand is now [cm]; negative under pressure.

    Raises
    ------
    InputError
        If a turn does not lie between the two before it, or `suction` beyond the last two.

    Examples
    --------
    >>> history = WettingHistory.flooded().then(40.0).then(15.0).then(22.0)
    >>> history.turns, history.suction
    ((40.0, 15.0), 22.0)
    >>> history.then(50.0).turns
    ()
    """

    turns: tuple[float, ...] = ()
    suction: float = 0.0

    def __post_init__(self) -> None:
        faults = Faults("Wetting history")
        turns = items_of(self.turns, "turns", "write turns=(40.0, 15.0)", faults)
        nest = [float("-inf")]
        for name, given in (*(("turns", each) for each in turns), ("suction", self.suction)):
            with faults.catching():
                nest.append(number_to_house(given, "suction", name))
        faults.raise_if_any()
        object.__setattr__(self, "turns", tuple(nest[1:-1]))
        object.__setattr__(self, "suction", nest[-1])
        for i in range(2, len(nest)):
            low, high = sorted((nest[i - 1], nest[i - 2]))
            if not low <= nest[i] <= high:
                what = f"turn {i}" if i <= len(self.turns) else "the suction"
                faults.add(
                    f"{what} is {nest[i]:g} cm",
                    allowed=f"{low:g} to {high:g} cm, between the two before it",
                    cure="build it from a path: WettingHistory.flooded().along([...])",
                )
        faults.raise_if_any()

    @classmethod
    def flooded(cls) -> WettingHistory:
        """Return the history of a sand just flooded from below: it drains along the drying curve.

        Returns
        -------
        WettingHistory
            Without a turn, at no suction.
        """
        return cls()

    @classmethod
    def oven_dry(cls) -> WettingHistory:
        """Return the history of a sand as dry as can be: it is wetted along the wetting curve.

        Returns
        -------
        WettingHistory
            Without a turn, at the oven-dry suction.
        """
        return cls((), OVEN_DRY_SUCTION)

    def then(self, suction: Suction) -> WettingHistory:
        """Return the history after suction has moved on to a value.

        Parameters
        ----------
        suction : float, str or Quantity
            Suction [cm].

        Returns
        -------
        WettingHistory
            With the turns that the way there leaves.

        Raises
        ------
        InputError
            If it is not a suction.
        """
        to = number_to_house(suction, "suction", "suction")
        if to == self.suction:
            return self
        # Flooded, a wet turn beyond all others; then dry and wet turns, and where the sand is now.
        nest = [float("-inf"), *self.turns, self.suction]
        dries, has_dried = to > self.suction, len(nest) % 2 == 0
        if dries == has_dried:
            nest.pop()
        # A turn that is passed is forgotten, with the one after it.
        while len(nest) > 2 and (to >= nest[-2] if dries else to <= nest[-2]):
            del nest[-2:]
        return WettingHistory(tuple(nest[1:]), to)

    def along(self, path: Iterable[Suction]) -> WettingHistory:
        """Return the history after a path of suctions.

        Parameters
        ----------
        path : iterable of float, str or Quantity
            Suctions [cm], one after the other; the way between two runs straight.

        Returns
        -------
        WettingHistory
            At the end of the path.

        Raises
        ------
        InputError
            If one is not a suction.
        """
        history = self
        for suction in path:
            history = history.then(suction)
        return history
