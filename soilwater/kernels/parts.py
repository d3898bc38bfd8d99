"""Kernels that are compiled as part of the kernels that call them.

numba makes machine code of every function by itself, and the function once more with each one above
it. Nobody calls a kernel but a kernel, until an entry point: here a kernel ends as text, simplified
function by function, that its callers take in, and only the entry point is optimised as a whole and
made machine code. That takes a third of the time off a first run.
"""

from collections.abc import Callable
from functools import cached_property
from typing import Any

from numba import njit, types, version_info
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder, Flags
from numba.core.registry import CPUDispatcher


class _Nowhere:
    """In place of the code generator, where the environment of a function in memory is set."""

    @staticmethod
    def set_env(name: str, environment: object) -> None:
        """Set nothing: what has no machine code is not in memory."""


class _Text(JITCodeLibrary):
    """What a part is compiled to, with all that it calls."""

    codegen = _Nowhere()

    def get_pointer_to_function(self, name: str) -> int:
        """Say that there is no machine code."""
        return 0

    def finalize(self) -> None:
        """Take in what is called; no more is needed before the entry point."""
        self._raise_if_finalized()
        for library in dict.fromkeys(self._linking_libraries):
            self._reload_init.update(library._reload_init)
            self._final_module.link_in(library._get_module_for_linking(), preserve=True)
        self._finalized = True


_FOR_OTHERS = {
    "WithLift",
    "InlineClosureLikes",
    "InlineInlinables",
    "LiteralUnroll",
    "NopythonRewrites",
}
"""Passes for what kernels are free of: closures, `with`, and arithmetic on whole arrays."""


class _Options(Flags):  # type: ignore[misc]
    """Options of a kernel, all that numba has, which are gathered once and not for each look-up."""

    __slots__ = ("_gathered", "_number")
    _gathered: dict[str, Any] | None
    _number: int | None

    def __setattr__(self, name: str, value: Any) -> None:
        super().__setattr__(name, value)
        if name not in _Options.__slots__:
            self._gathered = self._number = None

    def values(self) -> dict[str, Any]:
        """Give all options by name."""
        if self._gathered is None:
            self._gathered = super().values()
        return self._gathered

    def __hash__(self) -> int:
        if self._number is None:
            self._number = super().__hash__()
        return self._number


class _Typing:
    """numba's typing, which answers a question about a function of its own once and not each time.

    It would try every way there is to add, or to take a number out of something, for each place
    where that is done, and compare all options to find what it had answered.
    """

    def __init__(self, context: Any, answers: dict[Any, Any]) -> None:
        self._context, self._answers = context, answers

    def __getattr__(self, name: str) -> Any:
        return getattr(self._context, name)

    def resolve_function_type(self, function: Any, given: Any, named: Any) -> Any:
        """Signature of a function for arguments of some types."""
        if named or not isinstance(function, types.Function):
            return self._context.resolve_function_type(function, given, named)
        question = function, given
        if question not in self._answers:
            answer = self._context.resolve_function_type(function, given, named)
            if answer is None:
                return None
            self._answers[question] = answer
        return self._answers[question]


_ANSWERS: dict[Any, dict[Any, Any]] = {}
"""What was answered, by options of kernels."""


class _ToText(CompilerBase):
    """numba's own passes, into a `_Text`."""

    def define_pipelines(self) -> list[Any]:
        """Give the passes, and the place where they put what they make."""
        state = self.state
        state.typingctx = _Typing(state.typingctx, _ANSWERS.setdefault(state.flags.copy(), {}))
        state.library = _Text(state.targetctx.codegen(), state.func_id.func_qualname)
        manager = DefaultPassBuilder.define_nopython_pipeline(state)
        manager.passes = [each for each in manager.passes if each[0].__name__ not in _FOR_OTHERS]
        return [manager]


class Part(CPUDispatcher):
    """A kernel that is compiled as part of its callers.

    Python may call it too, through a door that is compiled then.
    """

    def __init__(
        self,
        py_func: Callable[..., Any],
        locals: dict[str, Any] | None = None,
        targetoptions: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(py_func, locals or {}, targetoptions, pipeline_class=_ToText)
        self._compiler._customize_flags = _Options  # type: ignore[attr-defined]

    def add_overload(self, result: Any) -> None:
        """Keep what was compiled for kernels; Python is not told of it."""
        self.overloads[tuple(result.signature.args)] = result

    def _compile_for_args(self, *values: Any, **named: Any) -> Any:
        """Answer Python, which is about to call the kernel with these values."""
        return self._door

    @cached_property
    def _door(self) -> Any:
        taken = {name: self.targetoptions[name] for name in self.targetoptions if name not in _OWN}
        return njit(**taken)(self.py_func)


_OWN = {"nopython": True, "boundscheck": None, "no_cpython_wrapper": True}
"""Options that are no matter of a kernel."""


OLDEST_TRIED, NEWEST_TRIED = (0, 63), (0, 68)
"""Versions of numba that parts were tried with. They lean on what numba keeps for itself, so with
an older or a newer one kernels are compiled in its own way: more slowly, with the same results."""


def part(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Make a decorator of kernels with these options of numba."""
    if not OLDEST_TRIED <= version_info.short <= NEWEST_TRIED:
        return njit(**options)  # type: ignore[no-any-return]
    return lambda function: Part(function, targetoptions={**options, **_OWN})
