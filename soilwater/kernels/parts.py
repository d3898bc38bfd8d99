"""Kernels that are compiled as part of the kernels that call them.

numba makes machine code of every function by itself, and the function once more with each one above
it. Nobody calls a kernel but a kernel, until an entry point: here a kernel ends as text, simplified
function by function, that its callers take in, and only the entry point is optimised as a whole and
made machine code. With what else is left out, that takes half of the time off a first run.
"""

from collections.abc import Callable
from functools import cached_property, partial
from types import BuiltinFunctionType
from typing import Any

from llvmlite.binding import create_pass_builder, create_pipeline_tuning_options
from numba import njit, types, version_info
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder, Flags
from numba.core.compiler_machinery import PassManager
from numba.core.cpu import CPUContext
from numba.core.datamodel.models import OpaqueModel
from numba.core.datamodel.registry import register_default
from numba.core.registry import CPUDispatcher
from numba.core.typing.context import Context
from numba.extending import intrinsic

from soilwater.kernels.items import short_text


class _Nowhere:
    """In place of the code generator, where the environment of a function in memory is set."""

    @staticmethod
    def set_env(name: str, environment: object) -> None:
        """Set nothing: what has no machine code is not in memory."""


class _Text(JITCodeLibrary):
    """What a part is compiled to, with all that it calls."""

    codegen = _Nowhere()

    def _optimize_functions(self, module: Any) -> None:
        """Simplify each function, no more than its callers need: they are optimised as a whole."""
        module.data_layout = self._codegen._data_layout
        for function in module.functions:
            if not function.is_declaration:
                passes, builder = self._codegen._function_pass_manager(opt=_LEVEL)
                passes.run(function, builder)

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


class _Rolled(JITCodeLibrary):
    """Machine code of an entry point whose loops are as long as they are written."""

    def _optimize_final_module(self) -> None:
        """Optimise all at once, with loops that vectorise but are not unrolled."""
        wanted = create_pipeline_tuning_options(speed_level=3)
        wanted.loop_vectorization = True
        wanted.loop_unrolling = wanted.loop_interleaving = False
        builder = create_pass_builder(self._codegen._tm, wanted)
        builder.getModulePassManager().run(self._final_module, builder)


_LEVEL = 1
"""Of optimising text. More takes longer, also later, and with less what is put into many places is
simplified in each."""

_FOR_OTHERS = {
    "WithLift",
    "InlineClosureLikes",
    "InlineInlinables",
    "InlineOverloads",
    "LiteralUnroll",
    "FindLiterallyCalls",
    "LiteralPropagationSubPipelinePass",
    "RewriteSemanticConstants",
    "RewriteDynamicRaises",
    "MakeFunctionToJitFunction",
    "DeadBranchPrune",
    "NopythonRewrites",
    "IRLegalization",
    "DumpParforDiagnostics",
}
"""Passes for what kernels are free of: closures, `with`, exceptions, branches on what is known,
references that are counted, and arithmetic on whole arrays."""


class _Passes(PassManager):  # type: ignore[misc]
    """Passes one after the other, without a look at the clock and at all of a kernel after each."""

    def _runPass(self, index: int, each: Any, state: Any) -> None:
        each.analysis = self._analysis
        each.run_initialization(state)
        each.run_pass(state)
        each.run_finalizer(state)


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


class _Function(types.Function):  # type: ignore[misc]
    """A function of numba's own that answers a question once, and not at each place it stands.

    It would try every way there is to add, or to take a number out of something, wherever that is
    done, to type it and again to make text of it.
    """

    _answers: dict[Any, Any]

    @classmethod
    def of(cls, function: Any) -> Any:
        """Make one of numba's, which stays as it is for all that is no kernel."""
        own = cls.__new__(cls)
        own.__dict__.update(function.__dict__, _answers={})
        return own

    def get_call_type(self, context: Any, given: Any, named: Any) -> Any:
        """Signature for arguments of some types."""
        if named:
            return super().get_call_type(context, given, named)
        question = tuple(given)
        if question not in self._answers:
            self._answers[question] = super().get_call_type(context, given, named)
        return self._answers[question]


register_default(_Function)(OpaqueModel)


def _choose(one: Any, other: Any, sign: str) -> Any:
    whole = isinstance(one, types.Integer) and isinstance(other, types.Integer)
    kind = types.int64 if whole else types.float64

    def codegen(_context: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        first, second = arguments
        compare = builder.icmp_signed if whole else builder.fcmp_ordered
        return builder.select(compare(sign, second, first), second, first)

    return kind(kind, kind), codegen


@intrinsic
def _lesser(_typing, one, other):  # type: ignore[no-untyped-def]
    return _choose(one, other, "<")


@intrinsic
def _greater(_typing, one, other):  # type: ignore[no-untyped-def]
    return _choose(one, other, ">")


_CHOOSE = {min: _lesser, max: _greater}
"""In place of functions that numba makes machine code of, anew for each kind of kernel: the lesser
and the greater of two numbers, float64 or int64; the same one as Python's where one is NaN."""


class _Typing(Context):  # type: ignore[misc]
    """numba's typing, with a `_Function` in place of each of its own."""

    def __init__(self, context: Any) -> None:
        self.__dict__.update(context.__dict__)
        self._context = context
        self._functions_of: dict[Any, Any] = {}

    def refresh(self) -> None:
        """Learn what numba has learnt since."""
        self._context.refresh()

    def _lookup_global(self, value: Any) -> Any:
        if isinstance(value, BuiltinFunctionType):
            value = _CHOOSE.get(value, value)
        found = super()._lookup_global(value)
        if type(found) is not types.Function:
            return found
        if found not in self._functions_of:
            self._functions_of[found] = _Function.of(found)
        return self._functions_of[found]


class _Target(CPUContext):  # type: ignore[misc]
    """What text is made for, which measures once and seeks in vain once, and not again."""

    def __init__(self, context: Any, typing: _Typing, in_vain: set[Any]) -> None:
        self.__dict__.update(context.__dict__, typing_context=typing)
        self._in_vain = in_vain

    def get_abi_sizeof(self, kind: Any) -> int:
        """Bytes that a value of a kind takes."""
        if kind not in _SIZES:
            _SIZES[kind] = super().get_abi_sizeof(kind)
        return _SIZES[kind]

    def get_function(self, function: Any, signature: Any, _firstcall: bool = True) -> Any:
        """What makes text of a function for a signature."""
        short = None if self.enable_boundscheck else short_text(function, signature)
        if short is not None:
            return partial(short, self, signature=signature)
        question = function, signature
        if question in self._in_vain:
            # So numba says that it knows of none, and whoever asks tries another way.
            raise NotImplementedError
        try:
            return super().get_function(function, signature, _firstcall)
        except NotImplementedError:
            self._in_vain.add(question)
            raise


_SIZES: dict[Any, int] = {}
_KNOWN: dict[Any, tuple[_Typing, set[Any]]] = {}
"""What was found out, by options of kernels."""


class _ToText(CompilerBase):
    """numba's own passes, into a `_Text`."""

    def define_pipelines(self) -> list[Any]:
        """Give the passes, and the place where they put what they make."""
        state = self.state
        if state.flags not in _KNOWN:
            _KNOWN[state.flags.copy()] = _Typing(state.typingctx), set()
        state.typingctx, in_vain = _KNOWN[state.flags]
        state.targetctx = _Target(state.targetctx, state.typingctx, in_vain)
        state.library = _Text(state.targetctx.codegen(), state.func_id.func_qualname)
        manager = _Passes("kernel")
        for each, words in DefaultPassBuilder.define_nopython_pipeline(state).passes:
            if each.__name__ not in _FOR_OTHERS:
                manager.add_pass(each, words)
        manager.finalize()
        return [manager]


class _ToRolled(CompilerBase):
    """numba's own passes, into a `_Rolled`."""

    def define_pipelines(self) -> list[Any]:
        """Give the passes, and the place where they put what they make."""
        state = self.state
        state.library = _Rolled(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        return [DefaultPassBuilder.define_nopython_pipeline(state)]


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

    def compile(self, given: Any) -> Any:
        """Compile for arguments of some types; Python, events and clocks are not told of it."""
        types_given = tuple(given)
        if types_given not in self.overloads:
            compiler: Any = self._compiler  # type: ignore[attr-defined]
            self.overloads[types_given] = compiler.compile(types_given, None)
        result: Any = self.overloads[types_given]
        return result.entry_point

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


def _was_tried() -> bool:
    return OLDEST_TRIED <= version_info.short <= NEWEST_TRIED  # type: ignore[no-any-return]


def rolled() -> dict[str, Any]:
    """Options of numba for an entry point whose loops are not unrolled."""
    return {"pipeline_class": _ToRolled} if _was_tried() else {}


def part(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Make a decorator of kernels with these options of numba."""
    if not _was_tried():
        return njit(**options)  # type: ignore[no-any-return]
    return lambda function: Part(function, targetoptions={**options, **_OWN})
