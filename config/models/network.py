"""Where the API can be reached: on the board alone, or on the home network as well."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import AfterValidator, Field

from config.models.base import Table, read_by
from config.phrase import Phrase

if TYPE_CHECKING:
    from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network

# The unit lets nothing else through than these and the board itself. Addresses that many customers of one
# provider share (RFC 6598) are nobody's home.
HOME_NETWORKS = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16"),  # private: RFC 1918, section 3
    *("169.254.0.0/16", "fe80::/10"),  # link-local: RFC 3927, section 2.1; RFC 4291, section 2.5.6
    "fc00::/7",  # unique local: RFC 4193, section 3.1
)
PORT = 8010
Listen = Literal["board", "home"] | tuple[str, ...]
_LISTEN = Phrase("“board” (this machine only), “home”, or a list of this machine's addresses")
_LONGEST_NAME, _LONGEST_LABEL = 253, 63  # RFC 1035, section 2.3.4


def is_home_address(text: str) -> bool:
    """Whether an address, without a zone, belongs to a home network, or to a board talking to itself."""
    try:
        address = _parse(text)
    except ValueError:
        return False
    return address.is_loopback or any(address in network for network in _home_networks())


@cache
def _home_networks() -> tuple[IPv4Network | IPv6Network, ...]:
    from ipaddress import ip_network  # noqa: PLC0415 (not needed to start the lights)

    return tuple(ip_network(each) for each in HOME_NETWORKS)


def _parse(text: str) -> IPv4Address | IPv6Address:
    from ipaddress import ip_address  # noqa: PLC0415 (not needed to start the lights)

    address = ip_address(text)
    return getattr(address, "ipv4_mapped", None) or address


def _take_listen(value: object) -> Listen:
    if value == "board" or value == "home":  # noqa: PLR1714 (so that mypy sees which)
        return value
    if not isinstance(value, list | tuple) or not value:
        what = Phrase("must be text in quotes, or a list of addresses")
        if value == []:
            what = Phrase("is empty")
        elif isinstance(value, str) and _is_address(value):
            what = Phrase("is one address and not a list of them")
        elif isinstance(value, str):
            what = Phrase("is not an allowed value")
        raise ValueError(what)
    for each in value:
        if not isinstance(each, str) or not _is_address(each):
            raise ValueError(Phrase("has “{each}”, which is not an address", each=each))
        if not is_home_address(each):
            raise ValueError(Phrase("has “{each}”, which is not an address of a home network", each=each))
    return tuple(value)


def _is_address(text: str) -> bool:
    try:
        _parse(text)
    except ValueError:
        return False
    return True


def _check_host_name(text: str) -> str:
    """Check a host name as a browser sends it: RFC 1123, section 2.1."""
    if "/" in text or ":" in text:
        raise ValueError(Phrase("is more than a host name"))
    labels = text.split(".")
    letters = all(label.isascii() and label.replace("-", "").replace("_", "").isalnum() for label in labels)
    if not letters or len(text) > _LONGEST_NAME or any(len(label) > _LONGEST_LABEL for label in labels):
        raise ValueError(Phrase("is not a host name"))
    return text.lower()


def _check_path(text: str) -> str:
    if not text.startswith("/") or text.endswith("/") or not text.isprintable():
        raise ValueError(Phrase("is not the whole path of a file"))
    return text


HostName = Annotated[str, AfterValidator(_check_host_name)]
_PemPath = Annotated[str, AfterValidator(_check_path)]


class NetworkSettings(Table):
    """How the API is reached."""

    listen: Annotated[Listen, read_by(_take_listen)] = Field("board", description=_LISTEN)
    port: int = Field(
        PORT, ge=1, le=65535, description=Phrase("the port of the API, 1 to 65535; usual is 8010")
    )
    names: tuple[HostName, ...] = Field(
        (),
        strict=False,
        description=Phrase(
            'a list of its further host names, without http:// and port, such as ["garden.example.net"]'
        ),
    )
    discovery: bool = Field(
        default=True,
        description=Phrase(
            "true where the home network is to find it by a name such as leerie.local, or false"
        ),
    )
    certificate: _PemPath | None = Field(
        None,
        description=Phrase(
            "the whole path of a PEM file with the certificate, such as “/etc/leerie/cert.pem”"
        ),
    )
    key: _PemPath | None = Field(
        None,
        description=Phrase(
            "the whole path of a PEM file with its private key, such as “/etc/leerie/key.pem”"
        ),
    )
