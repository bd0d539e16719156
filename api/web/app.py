"""The web application: the routes behind the request guard.

Imported by the web server's own thread only, once the lights are right: FastAPI takes a while.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib.metadata import PackageNotFoundError, version

from fastapi import FastAPI

from api.web.context import RequestContext
from api.web.gateway import KeeperGateway
from api.web.middleware import ALLOWED_HOSTS, RequestGuardMiddleware
from api.web.openapi import DescribedApp
from api.web.problems.handlers import add_problem_handlers
from api.web.routes import hours, nights, replacements, status, wiring, zones
from controller.clock.clock import read_boot_s


def make_app(
    gateway: KeeperGateway,
    *,
    boot_s: Callable[[], float] = read_boot_s,
    hosts: Iterable[str] = ALLOWED_HOSTS,
) -> FastAPI:
    """Put the web application together.

    Args:
        gateway: the way to the keeper and the journal.
        boot_s: reads the keeper's boot-time clock, in seconds.
        hosts: the host names, without a port, that the server answers to.
    """
    # The documentation pages of FastAPI load from the internet; the description itself does not.
    app = DescribedApp(
        title="Leerie", version=_version(), docs_url=None, redoc_url=None, redirect_slashes=False
    )
    app.state.context = RequestContext(gateway, boot_s=boot_s)
    for subject in (status, zones, nights, hours, replacements, wiring):
        # One flat list, which the index and the header Allow are read from; include_router may nest its own.
        app.router.routes.extend(subject.router.routes)
    add_problem_handlers(app)
    app.add_middleware(RequestGuardMiddleware, hosts=hosts)
    return app


def _version() -> str:
    try:
        return version("leerie")
    except PackageNotFoundError:  # a checkout that is not installed
        return "0"
