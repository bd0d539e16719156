"""Looks at how the API is reached: asks the daemon, and without one looks as it would."""

from __future__ import annotations

import json
import ssl
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from api.cli.daemon_client import NoDaemonError, ask_daemon
from api.network.addresses import addresses_to_open, is_this_machine, url_of
from api.network.certificate import CertificateError, read_certificate
from api.web.schemas.status import StatusResponse
from config.errors import LeerieError
from controller.doctor.network import AccessFacts, Answer, NetworkFacts

if TYPE_CHECKING:
    from config.models.site import Site


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """Who answered on the port; ``status`` is there where it is this site's daemon of this version."""

    answer: Answer
    site: str = ""
    status: StatusResponse | None = None


def ask(site: Site, port: int, *, kept: bool) -> Asked:
    """Ask who answers on the port of the API."""
    try:
        text = ask_daemon(port, "GET", "/v1/status")
    except NoDaemonError as error:
        refused = isinstance(error.__cause__, ConnectionRefusedError)
        return Asked(answer="nobody" if refused or kept else "another program")
    except LeerieError:
        return Asked(answer="another program")
    try:
        document = json.loads(text)
        name = document["site"]
        document["keeper"]
    except (ValueError, LookupError, TypeError):
        return Asked(answer="another program")
    if name != site.name:
        return Asked(answer="another site", site=str(name))
    try:
        return Asked(answer="this site", site=site.name, status=StatusResponse.model_validate(document))
    except ValueError:
        return Asked(answer="another version", site=site.name)


def find_network(
    site: Site, port: int, asked: Asked, *, kept: bool, installed: bool, now_utc: datetime | None
) -> NetworkFacts:
    """Look at the addresses, names and certificate; ``now_utc`` is None where the clock is not trusted."""
    settings = site.network
    told = asked.status.network if asked.status else None
    hosts = [each for each in addresses_to_open(settings) if not each.startswith("fe80:")]
    encrypted = settings.certificate is not None
    home = told.home if told else [url_of(each, port, encrypted=encrypted) for each in hosts]
    fault, ends_utc = _look_at_certificate(site)
    # What the daemon serves counts: whoever asks may not be allowed to read its key.
    is_served = told is not None and told.encrypted and not told.faults
    return NetworkFacts(
        site=site.name,
        port=port,
        answer=asked.answer,
        answers_for=asked.site,
        kept=kept,
        installed=installed,
        opens_home=settings.listen != "board",
        home=tuple(home),
        missing=tuple(_missing(site)),
        announces=settings.discovery and settings.listen != "board",
        announced=tuple(each for each in home if (urlsplit(each).hostname or "").endswith(".local")),
        faults=tuple(told.faults) if told else (),
        certificate_fault="" if is_served or (told and fault in told.faults) else fault,
        certificate_ends_utc=ends_utc,
        now_utc=now_utc,
    )


def _missing(site: Site) -> list[str]:
    if isinstance(site.network.listen, str):
        return []
    # Every address that begins so is the board's own: RFC 1122, section 3.2.1.3.
    return [e for e in site.network.listen if not e.startswith("127.") and not is_this_machine(e)]


def _look_at_certificate(site: Site) -> tuple[str, datetime | None]:
    settings = site.network
    if settings.certificate is None:
        return "", None
    try:
        read = read_certificate(Path(settings.certificate), Path(settings.key or settings.certificate))
    except CertificateError as error:
        return str(error), None
    except (OSError, ssl.SSLError) as error:
        return f"{settings.certificate}: {error}", None
    return "", read.ends_utc


def find_access(site: Site, state: Path, asked: Asked) -> AccessFacts:
    """Find out who is let in: from the daemon, else from its file, which stays as it is."""
    opens_home = site.network.listen != "board"
    if asked.status is not None:
        told = asked.status.access
        return AccessFacts(
            opens_home=opens_home,
            devices=told.devices,
            failed_tries=told.failed_tries,
            fault=told.fault or "",
        )
    devices = None
    with suppress(OSError, ValueError, LookupError, TypeError):
        devices = len(json.loads((state / "access.json").read_bytes())["credentials"])
    return AccessFacts(opens_home=opens_home, devices=devices)
