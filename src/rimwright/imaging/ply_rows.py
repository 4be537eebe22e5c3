"""Rows of a PLY element: scalars as columns, lists as their items in a row with their sizes."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_TRIANGLES, MAX_UNEVEN_NUMBERS
from rimwright.imaging.number_text import as_doubles
from rimwright.imaging.raw_shell import DAMAGED, check_count


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """
    One property of an element.

    Parameters
    ----------
    name
        Of the property.
    item
        Type of the value, as numpy writes it without byte order (f4, u1, …).
    count
        Type of the count of a list; '' for a scalar.
    """

    name: str
    item: str
    count: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """
    An element of the header.

    Parameters
    ----------
    name
        vertex, face, …
    n_rows
        Rows declared.
    properties
        In their order.
    order
        '<' or '>'; '' for text.
    """

    name: str
    n_rows: int
    properties: tuple[Property, ...]
    order: str

    @property
    def least_values(self) -> int:
        """Fewest numbers a row of text has."""
        return len(self.properties)

    @property
    def least_bytes(self) -> int:
        """Fewest bytes a row of binary data has."""
        return sum(np.dtype(p.count or p.item).itemsize for p in self.properties)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """
    What was read of an element.

    Parameters
    ----------
    columns
        Scalars by name, (n,).
    lists
        Lists by name: items of all rows in a row, and the size of each, (n,).
    """

    columns: dict[str, Floats]
    lists: dict[str, tuple[Floats, Ints]]


def read_text_rows(values: Floats, element: Element, *, at: int, where: str) -> tuple[Rows, int]:
    """
    Read the rows of an element from numbers that stood as text.

    Parameters
    ----------
    values
        All numbers of the file.
    element
        What to read.
    at
        Where it begins.
    where
        The file, for the refusal.

    Returns
    -------
    tuple[Rows, int]
        The rows, and where they end.

    Raises
    ------
    FileRefusal
        The numbers end before the rows do.
    """
    n = element.n_rows
    if n == 0 or not element.properties:
        return _no_rows(element), at
    # rows of equal width, as the first: nearly always so
    width = 0
    for prop in element.properties:
        size = _list_size(values, at + width, element, where=where) if prop.count else 0
        width += 1 + size if prop.count else 1
        if at + width > len(values):
            raise _cut_short(element, where=where)
    if n * width <= len(values) - at:
        table = values[at : at + n * width].reshape(n, width)
        rows = _rows_of_table(table, element)
        if rows is not None:
            return rows, at + n * width
    check_count(len(values), need=MAX_UNEVEN_NUMBERS, what="numbers", where=where)
    items: dict[str, list[float]] = {p.name: [] for p in element.properties}
    sizes: dict[str, list[int]] = {p.name: [] for p in element.properties if p.count}
    flat = values.tolist()
    for _ in range(n):
        for prop in element.properties:
            size = 1
            if prop.count:
                size = _list_size(flat, at, element, where=where)
                sizes[prop.name].append(size)
                at += 1
            if at + size > len(flat):
                raise _cut_short(element, where=where)
            items[prop.name].extend(flat[at : at + size])
            at += size
    return _rows_of_lists(items, sizes), at


def read_binary_rows(data: bytes, element: Element, *, at: int, where: str) -> tuple[Rows, int]:
    """
    Read the rows of an element from bytes.

    Parameters
    ----------
    data
        The whole file.
    element
        What to read.
    at
        Byte where it begins.
    where
        The file, for the refusal.

    Returns
    -------
    tuple[Rows, int]
        The rows, and the byte where they end.

    Raises
    ------
    FileRefusal
        The bytes end before the rows do.
    """
    n, order = element.n_rows, element.order
    if n == 0 or not element.properties:
        return _no_rows(element), at
    fields: list[tuple[str, str, tuple[int, ...]]] = []
    width = 0
    for index, prop in enumerate(element.properties):
        size = 1
        if prop.count:
            head = np.dtype(order + prop.count)
            if at + width + head.itemsize > len(data):
                raise _cut_short(element, where=where)
            size = int(np.frombuffer(data, head, count=1, offset=at + width)[0])
            width += head.itemsize
            if size < 0 or size > len(data):
                raise _cut_short(element, where=where)
            fields.append((f"count{index}", order + prop.count, ()))
        width += size * np.dtype(prop.item).itemsize
        fields.append((f"item{index}", order + prop.item, (size,)))
        if at + width > len(data):
            raise _cut_short(element, where=where)
    if n * width <= len(data) - at:
        table = np.frombuffer(data, np.dtype(fields), count=n, offset=at)
        counts = [
            (table[f"count{k}"], table[f"item{k}"].shape[1])
            for k, prop in enumerate(element.properties)
            if prop.count
        ]
        if all((column == size).all() for column, size in counts):
            return _rows_of_fields(table, element), at + n * width
    return _read_uneven(data, element, at=at, where=where)


def _read_uneven(data: bytes, element: Element, *, at: int, where: str) -> tuple[Rows, int]:
    """Binary rows of different widths, one after the other."""
    check_count(element.n_rows, need=MAX_TRIANGLES, what="uneven rows", where=where)
    letters = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I"}
    heads = {
        p.name: struct.Struct(element.order + letters[p.count])
        for p in element.properties
        if p.count
    }
    spans: dict[str, list[bytes]] = {p.name: [] for p in element.properties}
    sizes: dict[str, list[int]] = {p.name: [] for p in element.properties if p.count}
    widths = {p.name: np.dtype(p.item).itemsize for p in element.properties}
    for _ in range(element.n_rows):
        for prop in element.properties:
            size = 1
            if prop.count:
                head = heads[prop.name]
                if at + head.size > len(data):
                    raise _cut_short(element, where=where)
                size = head.unpack_from(data, at)[0]
                at += head.size
                sizes[prop.name].append(size)
            stop = at + size * widths[prop.name]
            if size < 0 or stop > len(data):
                raise _cut_short(element, where=where)
            spans[prop.name].append(data[at:stop])
            at = stop
    items = {
        p.name: as_doubles(np.frombuffer(b"".join(spans[p.name]), element.order + p.item))
        for p in element.properties
    }
    lists = {name: (items[name], np.array(size, dtype=np.int64)) for name, size in sizes.items()}
    columns = {name: column for name, column in items.items() if name not in lists}
    return Rows(columns=columns, lists=lists), at


def _rows_of_table(table: Floats, element: Element) -> Rows | None:
    """Rows of a table of numbers; None where a list is not as long as in the first row."""
    columns: dict[str, Floats] = {}
    lists: dict[str, tuple[Floats, Ints]] = {}
    at = 0
    for prop in element.properties:
        if not prop.count:
            columns[prop.name] = table[:, at]
            at += 1
            continue
        size = int(table[0, at])
        if (table[:, at] != size).any():
            return None
        lists[prop.name] = (
            table[:, at + 1 : at + 1 + size].ravel(),
            np.full(len(table), size, dtype=np.int64),
        )
        at += 1 + size
    return Rows(columns=columns, lists=lists)


def _rows_of_fields(table: np.ndarray, element: Element) -> Rows:
    """Rows of a structured array whose lists are all of one length."""
    columns: dict[str, Floats] = {}
    lists: dict[str, tuple[Floats, Ints]] = {}
    for index, prop in enumerate(element.properties):
        items = as_doubles(table[f"item{index}"])
        if prop.count:
            sizes = np.full(len(table), items.shape[1], dtype=np.int64)
            lists[prop.name] = (items.ravel(), sizes)
        else:
            columns[prop.name] = items[:, 0]
    return Rows(columns=columns, lists=lists)


def _rows_of_lists(items: dict[str, list[float]], sizes: dict[str, list[int]]) -> Rows:
    """Rows gathered one after the other."""
    arrays = {name: np.array(values, dtype=np.float64) for name, values in items.items()}
    return Rows(
        columns={name: array for name, array in arrays.items() if name not in sizes},
        lists={
            name: (arrays[name], np.array(size, dtype=np.int64)) for name, size in sizes.items()
        },
    )


def _no_rows(element: Element) -> Rows:
    """Rows of an element that has none."""
    empty = np.zeros(0)
    return Rows(
        columns={p.name: empty for p in element.properties if not p.count},
        lists={p.name: (empty, np.zeros(0, dtype=np.int64)) for p in element.properties if p.count},
    )


def _list_size(values: Floats | list[float], at: int, element: Element, *, where: str) -> int:
    """The count in front of a list: whole, at least 0, no more than there are numbers."""
    if at >= len(values):
        raise _cut_short(element, where=where)
    size = float(values[at])
    if not (size.is_integer() and 0 <= size <= len(values)):
        raise FileRefusal(
            f"a list is wrongly counted (got {size:g} for its length)", where, DAMAGED
        )
    return int(size)


def _cut_short(element: Element, *, where: str) -> FileRefusal:
    """The refusal for data that end too early."""
    return FileRefusal(
        f"cut short or wrongly counted (its {element.n_rows:,} {element.name} rows run past the "
        "end)",
        where,
        DAMAGED,
    )
