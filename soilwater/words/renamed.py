"""Words that have changed, and arguments left out or given without a name: one error for each.

A word that is renamed is refused for one release, with the new word in the message; then the entry
goes, and Python's own message serves.
"""

from __future__ import annotations

import dataclasses
import functools
import inspect
from collections.abc import Callable
from typing import Any, TypeVar, cast

from soilwater.words.errors import Faults, InputError
from soilwater.words.kinds import wrong_kinds

_Called = TypeVar("_Called", bound=Callable[..., Any])
_OF_PYTHON = (TypeError, AttributeError, ValueError, LookupError, ArithmeticError)
"""Errors as which an argument of another kind shows."""
_Class = TypeVar("_Class", bound=type)


def needs_all(example: str, *, by_the_thousand: bool = False) -> Callable[[_Class], _Class]:
    """Let a dataclass tell which of its values are missing, and how it is written.

    Parameters
    ----------
    example : str
        The class with values, as somebody may paste it behind ``from soilwater import *``.
    by_the_thousand : bool, optional
        Whether all values given in order are put in their places at once, which takes half as long
        as one after the other. Of a frozen dataclass with a ``__post_init__`` whose values are
        plain fields: none in slots, made by a factory, or for the initialiser alone.

    Returns
    -------
    callable
        Decorator of a dataclass.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @needs_all("Size(3.0, 4.0)")
    ... @dataclass
    ... class Size:
    ...     width: float
    ...     height: float
    >>> Size(3.0)
    Traceback (most recent call last):
        ...
    soilwater.words.errors.InputError: Size: height is missing; write it as Size(3.0, 4.0).
    """

    def decorate(made: _Class) -> _Class:
        asked: Any = made
        init = asked.__init__
        fields = inspect.signature(made).parameters
        needed = {name: None for name, each in fields.items() if each.default is each.empty}
        order = list(fields)
        # Most is given in order and whole.
        unnamed = [n for n, each in fields.items() if each.kind != inspect.Parameter.KEYWORD_ONLY]
        enough = max((order.index(name) + 1 for name in needed), default=0)
        if not needed.keys() <= set(unnamed):
            enough = len(order) + 1
        most = len(unnamed) if by_the_thousand else -1
        usual = {each.name: each.default for each in dataclasses.fields(asked)}

        @functools.wraps(init)
        def telling(self: Any, *given: Any, **named: Any) -> None:
            if len(given) >= enough:
                if named:
                    init(self, *given, **named)
                elif len(given) <= most:
                    own = self.__dict__
                    own.update(usual)
                    # To say that one may be shorter takes as long as to fill in half of it.
                    own.update(zip(order, given))  # noqa: B905
                    self.__post_init__()
                else:
                    init(self, *given)
                return
            missing = needed.keys() - order[: len(given)] - named.keys()
            # Who gives an unknown name, or too many values, is told so by Python itself.
            if missing and all(name in fields for name in named):
                faults = Faults(made.__name__)
                verb = "is" if len(missing) == 1 else "are"
                told = " and ".join(name for name in needed if name in missing)
                faults.add(f"{told} {verb} missing", cure=f"write it as {example}")
                raise faults.as_error()
            init(self, *given, **named)

        asked.__init__ = telling
        _mind_methods(made)
        return made

    return decorate


def _mind_methods(made: type) -> None:
    """Let the public methods of a class name an argument of another kind."""
    for name, method in list(vars(made).items()):
        if name.startswith("_"):
            continue
        subject = f"{made.__name__}.{name}"
        if inspect.isfunction(method) and not hasattr(method, "__wrapped__"):
            setattr(made, name, _minding(method, subject, {}))
        elif isinstance(method, classmethod | staticmethod):
            inside = method.__func__
            if not hasattr(inside, "__wrapped__"):
                setattr(made, name, type(method)(_minding(inside, subject, {})))


def mind_words(**renamed: str) -> Callable[[_Called], _Called]:
    """Refuse old words for arguments, a rod without its name, and things of another kind.

    Parameters
    ----------
    **renamed : str
        The new word for each old one.

    Returns
    -------
    callable
        Decorator of a function, or of a dataclass, whose arguments are those of its fields.

    Examples
    --------
    >>> @mind_words(line="threshold")
    ... def days_above(run, threshold, *, rod): ...
    >>> days_above([], line=0.12, rod=7.6)
    Traceback (most recent call last):
        ...
    soilwater.words.errors.InputError: days_above: "line" is now called "threshold"; write \
threshold in its place.
    """

    def decorate(called: _Called) -> _Called:
        if inspect.isclass(called):
            made: Any = called
            made.__init__ = _minding(made.__init__, called.__name__, renamed)
            return called
        return cast(_Called, _minding(called, called.__name__, renamed))

    return decorate


def _minding(
    function: Callable[..., Any], subject: str, renamed: dict[str, str]
) -> Callable[..., Any]:
    kinds = {name: each.kind for name, each in inspect.signature(function).parameters.items()}
    rod_by_name = kinds.get("rod") is inspect.Parameter.KEYWORD_ONLY
    places = sum(kind is inspect.Parameter.POSITIONAL_OR_KEYWORD for kind in kinds.values())
    # Without **options of its own; a method or initialiser does not count what it is called on.
    own = 1 if next(iter(kinds), "") in ("self", "cls") else 0

    @functools.wraps(function)
    def minding(*args: Any, **options: Any) -> Any:
        old = [name for name in options if name in renamed]
        unnamed = rod_by_name and "rod" not in options and len(args) == places + 1
        if old or unnamed:
            faults = Faults(subject)
            for name in old:
                faults.add(
                    f'"{name}" is now called "{renamed[name]}"',
                    cure=f"write {renamed[name]} in its place",
                )
            if unnamed:
                faults.add(
                    f"it takes {places - own} unnamed values and was given {len(args) - own}",
                    cure=f"give the rods by name: rod={args[-1]!r}",
                )
            faults.raise_if_any()
        try:
            return function(*args, **options)
        except InputError:
            raise
        except _OF_PYTHON as error:
            told = wrong_kinds(function, args, options, subject)
            if told is None:
                raise
            raise told from error

    return minding
