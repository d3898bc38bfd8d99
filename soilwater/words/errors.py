"""Exceptions, the warning class, run status, and the collector that reports every fault at once.

A message says what is wrong, where, what is allowed and the cure. People who mend tables want the
whole list in one go, so checks add to a `Faults` and raise at the end.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import IntEnum
from numbers import Integral
from typing import TYPE_CHECKING, Any

from soilwater.words.safe_texts import fit_to_show

if TYPE_CHECKING:
    import xarray as xr

# A table with one wrong column has a fault per row: beyond this many the list is cut in the
# message (never in `.faults`), or the first line scrolls out of sight.
_FAULTS_SHOWN = 20
_LONGEST_WORD = 300


class SoilWaterError(Exception):
    """Base of every exception raised on purpose by this package."""


class InputError(SoilWaterError, ValueError):
    """Something handed in is not usable.

    Parameters
    ----------
    message : str
        Text shown to the person.
    faults : tuple of str, optional
        One sentence per fault; the message itself when left out.
    """

    def __init__(self, message: str, faults: tuple[str, ...] = ()) -> None:
        # A cell may be thousands of letters on end, and a message repeats it.
        super().__init__(_cut(message))
        self._faults = tuple(map(_cut, faults)) or (_cut(message),)

    @property
    def faults(self) -> tuple[str, ...]:
        """One sentence per fault found, without the subject they share."""
        return self._faults


def _cut(text: str) -> str:
    """Cut words that are longer than any name, path or header; leave other texts as they are."""
    endless = max(map(len, str(text).split()), default=0) > _LONGEST_WORD
    return fit_to_show(text, _LONGEST_WORD) if endless else text


class UnitError(InputError, TypeError):
    """A quantity has no unit where it needs one, a unit that does not measure it, or is none."""


class RunError(SoilWaterError, RuntimeError):
    """A simulation could not be carried to its end."""


class Interrupted(KeyboardInterrupt):
    """A batch was stopped from the keyboard; an answer that runs one of its own stops plainly.

    Parameters
    ----------
    finished : Dataset
        The result so far: cases that were not run have the status ``INTERRUPTED``.
    """

    def __init__(self, finished: xr.Dataset) -> None:
        super().__init__("Stopped from the keyboard; `.finished` holds the cases that were run.")
        self.finished = finished


@contextmanager
def nothing_to_hand_back() -> Iterator[None]:
    """Let a batch that is run for an answer stop plainly: half of its columns answer nothing."""
    try:
        yield
    except Interrupted:
        raise KeyboardInterrupt from None


class SoilWaterWarning(UserWarning):
    """Something the user can act on; the run goes on without it."""


class Status(IntEnum):
    """How the simulation of one column ended.

    Kernels return the integer; results store it per case together with its sentence.
    """

    OK = 0
    STEP_TOO_SMALL = 1
    TOO_MANY_STEPS = 2
    NOT_FINITE = 3
    INTERRUPTED = 4
    BAD_INPUT = 5

    @property
    def sentence(self) -> str:
        """One plain sentence for a person."""
        return _SENTENCES[self]


_SENTENCES = {
    Status.OK: "The run reached its end.",
    Status.STEP_TOO_SMALL: (
        "The time step shrank to its smallest allowed size without an answer: look for water "
        "arriving far faster than the soil conducts, or cells that are too thick near an interface."
    ),
    Status.TOO_MANY_STEPS: (
        "The run used up its allowed number of steps: raise the limit, shorten the run, or look "
        "for forcing that changes back and forth within minutes."
    ),
    Status.NOT_FINITE: (
        "A value stopped being a finite number: check the soil parameters and the forcing at the "
        "last good time."
    ),
    Status.INTERRUPTED: "The run was stopped by the user before its end.",
    Status.BAD_INPUT: "The inputs of this case were refused before the run began.",
}


def by_kind(given: object) -> str:
    """Name what was given: a short value as it is, anything else by its kind."""
    short = given is None or isinstance(given, str | int | float)
    kind = given.__name__ if isinstance(given, type) else type(given).__name__
    article = "the class" if isinstance(given, type) else "an" if kind[0] in "AEIOaeio" else "a"
    return repr(given) if short else f"{article} {kind}"


class Faults:
    """Collects the faults of one object or table and raises them together.

    Parameters
    ----------
    subject : str
        What is being checked, as the person knows it: ``'Layer 2 ("gravel")'``.

    Examples
    --------
    >>> faults = Faults('Layer 2 ("gravel")')
    >>> faults.add("theta_r=0.41 is not below theta_s=0.38", cure="check columns 3 and 4")
    >>> len(faults)
    1
    >>> faults.raise_if_any()
    Traceback (most recent call last):
    ...
    soilwater.words.errors.InputError: Layer 2 ("gravel"): theta_r=0.41 is not below theta_s=0.38; \
check columns 3 and 4.
    """

    def __init__(self, subject: str) -> None:
        self.subject = subject
        self._faults: list[str] = []

    def __len__(self) -> int:
        return len(self._faults)

    def add(self, what: str, *, where: str = "", allowed: str = "", cure: str = "") -> None:
        """Note one fault.

        Parameters
        ----------
        what : str
            What is wrong, with the value that was given.
        where : str, optional
            Row, column, argument or time stamp inside the subject.
        allowed : str, optional
            What would have been accepted.
        cure : str, optional
            What the person should do.
        """
        place = f"{where}: " if where else ""
        parts = [what, f"allowed: {allowed}" if allowed else "", cure]
        sentence = place + "; ".join(part.rstrip(" .") for part in parts if part)
        self._faults.append(f"{sentence}.")

    def need_whole(self, name: str, given: Any, least: int) -> None:
        """Note what is no whole number, or too small a one.

        Parameters
        ----------
        name : str
            The argument.
        given : object
            What was given for it.
        least : int
            Smallest that is allowed.
        """
        whole = isinstance(given, Integral) and not isinstance(given, bool)
        if not (whole and given >= least):
            self.add(f"{name} is {given!r}", allowed=f"a whole number, {least} or more")

    @contextmanager
    def catching(self, where: str = "") -> Iterator[None]:
        """Note the faults of an `InputError` raised in the ``with`` block, and go on after it.

        Parameters
        ----------
        where : str, optional
            Put in front of each fault.

        Examples
        --------
        >>> faults = Faults("Lab sheet")
        >>> with faults.catching("row 3"):
        ...     raise InputError("the suction is missing.")
        >>> faults.raise_if_any()
        Traceback (most recent call last):
        ...
        soilwater.words.errors.InputError: Lab sheet: row 3: the suction is missing.
        """
        try:
            yield
        except InputError as error:
            # A lone fault carries its subject (the argument's name) only in the message.
            found = error.faults if len(error.faults) > 1 else (str(error),)
            place = f"{where}: " if where else ""
            self._faults.extend(place + fault for fault in found)

    def raise_if_any(self, error: type[InputError] = InputError) -> None:
        """Raise everything noted so far as one exception, or return quietly if nothing was.

        Parameters
        ----------
        error : type of InputError, optional
            The class to raise.

        Raises
        ------
        InputError
            When at least one fault was noted.
        """
        if self._faults:
            raise self.as_error(error)

    def as_error(self, error: type[InputError] = InputError) -> InputError:
        """Make the exception that tells everything noted so far, for the caller to raise.

        Parameters
        ----------
        error : type of InputError, optional
            The class to make.

        Returns
        -------
        InputError
            Of the class asked for; its ``faults`` has one entry per fault.
        """
        if len(self._faults) == 1:
            message = f"{self.subject}: {self._faults[0]}"
        else:
            shown = self._faults[:_FAULTS_SHOWN]
            lines = [f"{self.subject}: {len(self._faults)} faults", *(f"- {f}" for f in shown)]
            if len(self._faults) > len(shown):
                lines.append(f"- ... and {len(self._faults) - len(shown)} more of this list.")
            message = "\n".join(lines)
        return error(message, tuple(self._faults))
