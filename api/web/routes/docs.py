"""The routes of the page that shows this API: Swagger UI, all of it on board.

Its files come in the package fastapi-offline, which is only looked up and never imported. No script stands in
the page itself, so that its policy can forbid such ones.
"""

from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter, Request, Response
from fastapi.staticfiles import StaticFiles

from api.render.instants import quote
from api.web.context import ShortRoute
from api.web.problems.types import ProblemError, shown_as

_PAGE = """\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Leerie: the API</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/docs/swagger-ui.css">
</head>
<body>
<div id="docs"><noscript>This page needs JavaScript; <a href="/openapi.json">the description</a> does
not.</noscript></div>
<script src="/docs/swagger-ui-bundle.js"></script>
<script src="/docs/start.js"></script>
</body>
</html>
"""
# Without the validator, which would ask another site.
_START = """\
SwaggerUIBundle({url: "/openapi.json", dom_id: "#docs", deepLinking: true, validatorUrl: null});
"""
# The pictures of its style sheet stand in it, as “data:” addresses.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_FILES = ("swagger-ui-bundle.js", "swagger-ui.css")

router = APIRouter(tags=["docs"], route_class=ShortRoute)


@router.get(
    "/docs", summary="This API, to read and to try", response_class=Response, responses=shown_as("text/html")
)
async def get_docs() -> Response:
    """Show every route with its parameters, bodies and answers; needs no internet."""
    headers = {"content-security-policy": _POLICY}
    return Response(_PAGE, media_type="text/html; charset=utf-8", headers=headers)


@router.get("/docs/start.js", include_in_schema=False)
async def get_start() -> Response:
    """Give the script that starts the page."""
    return Response(_START, media_type="text/javascript; charset=utf-8")


@router.get("/docs/{name}", include_in_schema=False)
async def get_docs_file(request: Request, name: str) -> Response:
    """Give a file of the page, or 304 where the browser has it."""
    if name not in _FILES:
        raise ProblemError("not-found", f"there is no file {quote(name)}; GET /docs is the page")
    response = await _static_files().get_response(name, request.scope)
    response.headers["cache-control"] = "no-cache"
    return response


def _static_files() -> StaticFiles:
    found = find_spec("fastapi_offline")
    if found is None or found.origin is None:
        raise ProblemError("not-found", "the package fastapi-offline is missing; /openapi.json needs none")
    return StaticFiles(directory=Path(found.origin).parent / "static")
