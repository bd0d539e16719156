"""Who is let in: the devices of the household, a code for another, and the way to shut one out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from api.access.credentials import Scope, checked_name
from api.page.answer import go, show, words_for
from api.page.forms import OwnForm
from api.page.garden.devices import ShownCode, describe_devices, devices_sentence, show_code
from api.page.page_route import PageRoute
from api.web.context import Context
from api.web.permission import Caller
from api.web.problems.types import ProblemError
from config.file.editor import write_table
from config.phrase import Phrase

router = APIRouter(route_class=PageRoute, include_in_schema=False)


@router.get("/garden/devices")
def get_devices(request: Request, context: Context) -> Response:
    """Show the devices that are let in."""
    return _show(request, context)


@router.post("/garden/devices/code")
def post_code(request: Request, context: Context, client: Caller, form: OwnForm) -> Response:
    """Make a code, and show it this once."""
    scope = Scope.READ if form.get("may") == "read" else Scope.CONTROL
    now, words = context.now(), words_for(request)
    try:
        name = checked_name(form["name"]) if form.get("name", "").strip() else None
    except ValueError as error:
        return _show(request, context, status=422, mistake=str(error))
    code = context.access.make_code(scope, name=name, by=client.name, now=now)
    return _show(request, context, code=show_code(code, context.network().home, now, words))


@router.post("/garden/devices/{device_id}/out")
def post_out(context: Context, client: Caller, device_id: Annotated[str, Path()], _form: OwnForm) -> Response:
    """Shut a device out; one that is gone already is no mistake."""
    context.access.revoke(device_id, by=client.name, now=context.now())
    return go("/garden/devices")


@router.post("/garden/devices/open")
def post_open(context: Context, client: Caller, form: OwnForm) -> Response:
    """Open the page to the home network, or to the board alone."""
    listen = form["listen"]
    if listen not in ("home", "board"):
        raise ProblemError(
            "invalid-request", Phrase("listen: must be “home” or “board”; load the page again")
        )
    context.write_site(
        lambda path: write_table(path, ("network",), {"listen": listen}),
        "the home network was let in" if listen == "home" else "the home network was shut out",
        by=client.name,
    )
    return go("/garden/devices")


def _show(
    request: Request, context: Context, *, status: int = 200, code: ShownCode | None = None, mistake: str = ""
) -> Response:
    words, now, client = words_for(request), context.now(), request.state.client
    devices = describe_devices(context.access.credentials(now), client, now, words)
    sentence, rest = devices_sentence(len(devices), words)
    return show(
        request,
        "devices.html",
        status=status,
        words=words,
        devices=devices,
        sentence=sentence,
        rest=rest,
        code=code,
        mistake=mistake,
        network=context.network(),
        listens=context.gateway.site.network.listen,
    )
