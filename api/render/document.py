"""JSON documents with a long list in them, written piece by piece."""

import json
from collections.abc import Callable, Generator, Iterable, Iterator
from itertools import islice
from typing import Any, TypeVar

from pydantic import BaseModel

Item = TypeVar("Item")
Dump = Callable[[BaseModel], str]
"""Writes one object; on one line, or with an indent of two blanks."""


def dump_compact(model: BaseModel) -> str:
    """Write an object on one line."""
    return model.model_dump_json()


def dump_indented(data: BaseModel | dict[str, Any], *, ensure_ascii: bool = False) -> str:
    """Write an object for people, a line a value."""
    if isinstance(data, BaseModel):
        data = data.model_dump(mode="json")
    return json.dumps(data, indent=2, ensure_ascii=ensure_ascii)


def write_document(
    head: BaseModel,
    name: str,
    batches: Iterable[Iterable[BaseModel]],
    tail: Callable[[], BaseModel] | None = None,
    dump: Dump = dump_compact,
) -> Generator[str, None, None]:
    """Write an object of the fields of a head, a list by its name, and the fields of a tail.

    Head and tail have at least one field each. The objects of the list come in batches, which may be empty,
    and are made one by one; the tail is asked for after the last.

    Returns:
        Pieces of one text; one for each batch, which is empty where the batch is.
    """
    text = dump(head)
    new_line, blank = ("\n", " ") if text.startswith("{\n") else ("", "")
    yield f'{text[:-1].rstrip()},{new_line}{blank * 2}"{name}":{blank}['
    separator = ""
    for batch in batches:
        written = []
        for model in batch:
            # A line break stands only between values: in a text it is written \n.
            written.append(separator + f"{new_line}{dump(model)}".replace("\n", f"\n{blank * 4}"))
            separator = ","
        yield "".join(written)
    yield f"{new_line}{blank * 2}]" if separator else "]"
    yield f",{dump(tail())[1:]}" if tail else f"{new_line}}}"


def in_batches(items: Iterable[Item], at_once: int) -> Iterator[list[Item]]:
    """Gather items into lists of at most so many."""
    remaining = iter(items)
    while batch := list(islice(remaining, at_once)):
        yield batch
