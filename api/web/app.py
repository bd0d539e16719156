"""The web application: the desk's answers as routes, behind a guard.

Imported by the web server's own thread only, once the lights are right: FastAPI takes a while.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib.metadata import PackageNotFoundError, version

from fastapi import FastAPI

from api.web.aside import Aside
from api.web.clerk_hours import HoursClerk
from api.web.clerk_wiring import WiringClerk
from api.web.context import Clerk, read_boot_s
from api.web.gateway import KeeperGateway
from api.web.middleware import ALLOWED_HOSTS, RequestGuardMiddleware
from api.web.openapi import describe
from api.web.past_clerk import PastClerk
from api.web.problems.handlers import add_problem_handlers
from api.web.routes.hours import HourRoutes
from api.web.routes.nights import NightRoutes
from api.web.routes.report import ReportRoutes
from api.web.routes.status import StatusRoutes
from api.web.routes.wiring import WiringRoutes
from api.web.routes.zones import ZoneRoutes


def make_app(
    desk: KeeperGateway, *, boot_s: Callable[[], float] = read_boot_s, names: Iterable[str] = ALLOWED_HOSTS
) -> FastAPI:
    """Put the web application together.

    Args:
        desk: the way to the keeper and the journal.
        boot_s: reads the boot-time clock that the keeper reads, in seconds.
        names: the names that the server goes by, without a port; every other Host is refused.
    """
    # The documentation pages of FastAPI load from the internet; the description itself does not.
    app = FastAPI(openapi_url="/openapi.json", docs_url=None, redoc_url=None, redirect_slashes=False)
    clerk, aside = Clerk(desk, boot_s=boot_s), Aside()
    StatusRoutes(clerk, aside).add_to(app)
    ZoneRoutes(clerk, aside).add_to(app)
    NightRoutes(clerk, PastClerk(clerk), aside).add_to(app)
    # What takes long has threads of its own: nobody waits for it who only asks how things stand.
    hours_clerk, aside_for_long = HoursClerk(clerk), Aside()
    HourRoutes(hours_clerk, aside_for_long).add_to(app)
    ReportRoutes(hours_clerk, aside_for_long).add_to(app)
    WiringRoutes(WiringClerk(clerk), aside).add_to(app)
    add_problem_handlers(app)
    describe(app, version=_version())
    app.add_middleware(RequestGuardMiddleware, names=names)
    return app


def _version() -> str:
    """Give the version that is installed; a checkout that is not has none."""
    try:
        return version("leerie")
    except PackageNotFoundError:
        return "0"
