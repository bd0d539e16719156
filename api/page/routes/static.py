"""Styles and scripts of the page, and its language: what every screen shares."""

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.page.answer import LANGUAGE_COOKIE, POLICY, go, static_files
from api.page.forms import OpenForm
from api.page.page_route import PageRoute
from api.render.instants import quote
from api.render.words import LANGUAGES
from api.web.problems.types import ProblemError

router = APIRouter(route_class=PageRoute, include_in_schema=False)

_TYPES = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}
_A_YEAR_S = 31_536_000


@router.get("/static/{_version}/{name}")
async def get_static(
    request: Request, _version: Annotated[str, Path()], name: Annotated[str, Path()]
) -> Response:
    """Give one file; each edition has an address of its own, so that a browser may keep it for good."""
    found = static_files().get(name)
    if found is None:
        raise ProblemError("not-found", f"there is no file {quote(name)}")
    plain, packed = found
    # A script that runs beside the tabs has the policy that it comes with.
    headers = {
        "content-security-policy": POLICY,
        "cache-control": f"public, max-age={_A_YEAR_S}, immutable",
        "vary": "accept-encoding",
    }
    if "gzip" in request.headers.get("accept-encoding", ""):
        headers["content-encoding"] = "gzip"
        plain = packed
    return Response(plain, headers=headers, media_type=_TYPES[name.rpartition(".")[2]])


@router.post("/language")
async def post_language(form: OpenForm) -> Response:
    """Have the page speak another language in this browser."""
    response = go(form.get("to", "/"))
    if form["language"] in LANGUAGES:
        response.set_cookie(
            LANGUAGE_COOKIE, form["language"], max_age=_A_YEAR_S, samesite="strict", httponly=True
        )
    return response
