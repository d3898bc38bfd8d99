"""Numbers and rows of arrays, in as little text as they take.

numba writes some thirty instructions for a number of an array: it copies all that is known of the
array, and takes shapes and strides of every kind into account. They all but vanish when text is
simplified, but to write, read and simplify them took a sixth of a first run.
"""

import operator
from collections.abc import Callable, Sequence
from typing import Any

from llvmlite import ir
from numba import types

# Places of what numba knows of an array.
OWNER, PARENT, COUNT, ITEM_SIZE, DATA, SHAPE, STRIDES = range(7)

_ITEMS = (types.float64, types.int64)


def short_text(function: Any, signature: Any) -> Callable[..., Any] | None:
    """What makes short text of a function for arguments of some types; None if nothing does.

    That is what takes numbers or rows out of contiguous arrays by whole numbers, and puts numbers
    there, as numba's own does. A stretch of a row is left to numba: written shorter, loops over it
    took longer to run.
    """
    wanted = getattr(function, "typing_key", None)
    if wanted not in (operator.getitem, operator.setitem):
        return None
    array, index, *value = signature.args
    if not isinstance(array, types.Array) or array.layout != "C" or array.dtype not in _ITEMS:
        return None
    kinds = index.types if isinstance(index, types.BaseTuple) else (index,)  # type: ignore[attr-defined]
    if any(kind != types.int64 for kind in kinds):
        return None
    if len(kinds) < array.ndim:
        return None if value else _rows
    return _put if value else _number


def _number(_context: Any, builder: Any, arguments: Any, *, signature: Any, **_named: Any) -> Any:
    array, index = arguments
    return builder.load(_place(builder, array, _indices(builder, signature.args[1], index)))


def _put(context: Any, builder: Any, arguments: Any, *, signature: Any, **_named: Any) -> None:
    array, index, value = arguments
    kind, index_kind, given = signature.args
    value = context.cast(builder, value, given, kind.dtype)
    builder.store(value, _place(builder, array, _indices(builder, index_kind, index)))


def _rows(context: Any, builder: Any, arguments: Any, *, signature: Any, **_named: Any) -> Any:
    array, index = arguments
    indices = _indices(builder, signature.args[1], index)
    made = context.get_value_type(signature.return_type)(ir.Undefined)
    for each in (OWNER, PARENT, ITEM_SIZE):
        made = builder.insert_value(made, builder.extract_value(array, each), each)
    made = builder.insert_value(made, _place(builder, array, indices), DATA)
    count = None
    for axis in range(signature.return_type.ndim):
        of_array = axis + len(indices)
        length = builder.extract_value(array, (SHAPE, of_array))
        stride = builder.extract_value(array, (STRIDES, of_array))
        made = builder.insert_value(made, length, (SHAPE, axis))
        made = builder.insert_value(made, stride, (STRIDES, axis))
        count = length if count is None else builder.mul(count, length, flags=["nsw"])
    return builder.insert_value(made, count, COUNT)


def _indices(builder: Any, kind: Any, index: Any) -> Sequence[Any]:
    if not isinstance(kind, types.BaseTuple):
        return [index]
    return [builder.extract_value(index, axis) for axis in range(len(kind))]


def _place(builder: Any, array: Any, indices: Sequence[Any]) -> Any:
    """Pointer to a number, or to the first one of rows."""
    lengths = [
        builder.extract_value(array, (SHAPE, axis))
        for axis in range(array.type.elements[SHAPE].count)
    ]
    offset = None
    for axis, index in enumerate(indices):
        # A sum of products, of which loops find what stays the same.
        step = None
        for length in lengths[axis + 1 :]:
            step = length if step is None else builder.mul(step, length)
        part = _from_begin(builder, index, lengths[axis])
        part = part if step is None else builder.mul(part, step)
        offset = part if offset is None else builder.add(offset, part)
    return builder.gep(builder.extract_value(array, DATA), [offset])


def _from_begin(builder: Any, index: Any, length: Any) -> Any:
    """An index that, as in Python, counts from the end where it is below 0."""
    if isinstance(index, ir.Constant) and index.constant >= 0:
        return index
    negative = builder.icmp_signed("<", index, index.type(0))
    return builder.select(negative, builder.add(index, length), index)
