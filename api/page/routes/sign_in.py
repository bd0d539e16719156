"""Where a device of the household is let in, with a code from the board; and how it signs out."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.access.credentials import Kind, checked_name
from api.page.answer import go, show, words_for
from api.page.forms import OpenForm, OwnForm
from api.page.page_route import PageRoute
from api.web.context import Context
from api.web.permission import Caller, find_session, set_session_cookie
from config.errors import AccessError, TooManyTriesError

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/sign-in")
def get_sign_in(request: Request, to: Annotated[str, Query()] = "/") -> Response:
    """Ask for the code."""
    return _ask(request, to=to)


@router.post("/sign-in")
def post_sign_in(request: Request, context: Context, client: Caller, form: OpenForm) -> Response:
    """Begin a session with a code, which is used up."""
    access, now, to = context.access, context.now(), form.get("to", "/")
    words = words_for(request)
    earlier = find_session(request.scope, access, now)
    try:
        name = checked_name(form["name"]) if form.get("name", "").strip() else None
        _, secret = access.pair(
            form["code"],
            Kind.SESSION,
            name=name,
            address=client.address,
            now=now,
            replaces=None if earlier is None else earlier.id,
        )
    except TooManyTriesError as error:
        wait = words.gettext("Too many wrong codes were tried. Try again in %(seconds)d seconds.")
        return _ask(request, to=to, status=429, mistake=wait % {"seconds": error.wait_s})
    except AccessError:
        wrong = words.gettext("That code is wrong, over or used already. Have the board show another.")
        return _ask(request, to=to, status=403, mistake=wrong)
    except ValueError as error:
        return _ask(request, to=to, status=422, mistake=str(error))
    response = go(to)
    set_session_cookie(request, response, access, secret)
    return response


@router.post("/sign-out")
def post_sign_out(request: Request, context: Context, _form: OwnForm) -> Response:
    """End this browser's session."""
    now = context.now()
    session = find_session(request.scope, context.access, now)
    if session is not None:
        context.access.revoke(session.id, by=session.name, now=now)
    response = go("/sign-in")
    set_session_cookie(request, response, context.access, None)
    return response


def _ask(request: Request, *, to: str, status: int = 200, mistake: str = "") -> Response:
    encrypted = request.scope["scheme"] == "https"
    return show(request, "sign_in.html", status=status, to=to, mistake=mistake, encrypted=encrypted)
