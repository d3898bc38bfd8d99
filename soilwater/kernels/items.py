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

    That is what takes numbers or rows out of contiguous arrays by whole numbers, or a stretch out
    of a row, and what puts numbers there; all as numba's own does.
    """
    wanted = getattr(function, "typing_key", None)
    if wanted not in (operator.getitem, operator.setitem):
        return None
    array, index, *value = signature.args
    if not isinstance(array, types.Array) or array.layout != "C" or array.dtype not in _ITEMS:
        return None
    if index == types.slice2_type and array.ndim == 1 and not value:
        return _stretch
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


def _stretch(_context: Any, builder: Any, arguments: Any, **_named: Any) -> Any:
    array, wanted = arguments
    length = builder.extract_value(array, (SHAPE, 0))
    begin, end = (_within(builder, builder.extract_value(wanted, at), length) for at in (0, 1))
    count = builder.sub(end, begin)
    none = builder.icmp_signed("<", count, count.type(0))
    count = builder.select(none, count.type(0), count)
    made = builder.insert_value(array, _place(builder, array, [begin]), DATA)
    made = builder.insert_value(made, count, (SHAPE, 0))
    return builder.insert_value(made, count, COUNT)


def _within(builder: Any, index: Any, length: Any) -> Any:
    """An end of a stretch, which is none beyond those of the row."""
    index = _from_begin(builder, index, length)
    below = builder.icmp_signed("<", index, index.type(0))
    index = builder.select(below, index.type(0), index)
    return builder.select(builder.icmp_signed(">", index, length), length, index)


def _indices(builder: Any, kind: Any, index: Any) -> Sequence[Any]:
    if not isinstance(kind, types.BaseTuple):
        return [index]
    return [builder.extract_value(index, axis) for axis in range(len(kind))]


def _place(builder: Any, array: Any, indices: Sequence[Any]) -> Any:
    """Pointer to a number, or to the first one of rows."""
    offset = None
    for axis in range(array.type.elements[SHAPE].count):
        length = builder.extract_value(array, (SHAPE, axis))
        offset = builder.mul(offset, length) if axis else None
        if axis < len(indices):
            index = _from_begin(builder, indices[axis], length)
            offset = builder.add(offset, index) if axis else index
    return builder.gep(builder.extract_value(array, DATA), [offset])


def _from_begin(builder: Any, index: Any, length: Any) -> Any:
    """An index that, as in Python, counts from the end where it is below 0."""
    if isinstance(index, ir.Constant) and index.constant >= 0:
        return index
    negative = builder.icmp_signed("<", index, index.type(0))
    return builder.select(negative, builder.add(index, length), index)
