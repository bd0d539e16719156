"""What is read strictly where the framework is lenient: the body as JSON, and the names of parameters."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from inspect import isclass
from typing import Any, get_origin
from urllib.parse import parse_qsl

from fastapi import Request
from fastapi.routing import APIRoute
from pydantic import BaseModel

from api.render.instants import quote
from api.web.problems.types import ProblemError, invalid_in


class StrictRequest(Request):
    """A request whose body is JSON as RFC 8259 has it.

    That is in UTF-8 alone (section 8.1), where Python's reader takes UTF-16 and UTF-32 too, without NaN and
    Infinity (section 6), and with every key once, so that no two readers understand different things
    (section 4).
    """

    async def json(self) -> Any:  # noqa: ANN401 - any JSON value
        """Read the body, once.

        Raises:
            ValueError: it is not JSON.
            ProblemError: a key stands twice in one object, or a number is none.
        """
        if not hasattr(self, "_json"):
            text = (await self.body()).decode("utf-8-sig")
            self._json = json.loads(text, object_pairs_hook=_object, parse_constant=_refuse_constant)
        return self._json


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = Counter(key for key, _ in pairs).most_common(1)[0][0]
        raise ProblemError("not-json", f"the key {quote(twice)} stands twice in one object; give it once")
    return found


def _refuse_constant(text: str) -> object:
    raise ProblemError("not-json", f"{text} is not a number of JSON; leave it out, or give a number")


def parameters_of(route: APIRoute) -> dict[str, bool]:
    """Name the query parameters that a route takes, each with whether it may be given more than once."""
    found = {}
    for field in route.dependant.query_params:
        model = field.field_info.annotation
        if isclass(model) and issubclass(model, BaseModel):
            for name, info in model.model_fields.items():
                found[info.alias or name] = get_origin(info.annotation) is list
        else:
            found[field.alias] = get_origin(model) is list
    return found


def check_parameters(query: str, allowed: Mapping[str, bool]) -> None:
    """Refuse a query with a parameter that a route does not take, or that is given twice.

    Raises:
        ProblemError: with each such parameter by its name.
    """
    given = Counter(name for name, _ in parse_qsl(query, keep_blank_values=True))
    errors = [{"detail": words, "parameter": name} for name, words in _wrong(given, allowed)]
    if errors:
        raise invalid_in(errors)


def _wrong(given: Mapping[str, int], allowed: Mapping[str, bool]) -> Iterable[tuple[str, str]]:
    for name, times in given.items():
        if name not in allowed:
            known = f"allowed: {', '.join(allowed)}" if allowed else "this route has no parameters"
            yield name, f"{quote(name)} is not an allowed parameter; {known}"
        elif times > 1 and not allowed[name]:
            yield name, f"{name} is given {times} times; give it once"
