"""A route of the page: what goes wrong in it is told to a person, on a screen."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request, Response

from api.page.answer import show
from api.web.context import ShortRoute
from api.web.problems.handlers import problem_of


class PageRoute(ShortRoute):
    """A route whose answers are screens, also where something is wrong."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Give the framework's handler, which answers every problem with a screen."""
        handle = super().get_route_handler()

        async def handle_for_people(request: Request) -> Response:
            try:
                return await handle(request)
            except Exception as error:
                problem = problem_of(error)
                if problem is None:
                    raise
                response = show(request, "problem.html", status=problem.type.status, problem=problem)
                response.headers.update(problem.headers)
                return response

        return handle_for_people


class LongPageRoute(PageRoute):
    """A screen that takes a while to be worked out."""

    takes_long = True
