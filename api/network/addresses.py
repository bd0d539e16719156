"""The addresses of this machine, as the kernel has them now, and whose an address is.

Asked without netlink, which the unit forbids: IPv4 by ioctl (netdevice(7), SIOCGIFCONF), IPv6 from
``/proc/net/if_inet6``. An address that the router has changed shows up with the next question.
"""

import fcntl
import socket
import struct
from array import array
from contextlib import suppress
from ipaddress import IPv4Address, IPv6Address, ip_address
from pathlib import Path

from config.models.network import NetworkSettings, is_home_address

# The board, as it calls itself.
BOARD = ("127.0.0.1", "::1")
# As many machines of one network of IPv6 may be as busy as they like at once.
HOUSEHOLD = 4
IPV6_ADDRESSES = Path("/proc/net/if_inet6")
_SIOCGIFCONF = 0x8912
# struct ifreq: a name of 16 bytes and a union whose largest member is struct ifmap.
_IFREQ_BYTES = 16 + struct.calcsize("LLHBBB0L")
_MOST_INTERFACES = 128
# IFA_F_TEMPORARY, IFA_F_DADFAILED, IFA_F_DEPRECATED, IFA_F_TENTATIVE of linux/if_addr.h: these come and go.
_PASSING = 0x01 | 0x08 | 0x20 | 0x40
# Any address elsewhere (RFC 5737): nothing is sent there, the kernel only says by which way it would be.
_ELSEWHERE = ("192.0.2.1", 9)
# RFC 4291, section 2.5.1.
_IPV6_HOST_BITS = 64


def home_addresses() -> list[str]:
    """List this machine's addresses in home networks, the one that leads outside first, link-local ones last.

    A link-local IPv6 address carries its interface, as in ``fe80::1%eth0``.
    """
    found = [each for each in _ipv4_addresses() if _is_of_home(each)]
    main = _main_ipv4_address()
    found.sort(key=lambda each: (each.startswith("169.254."), each != main))
    rest = sorted(filter(_is_of_home, _ipv6_addresses()), key=lambda each: each.startswith("fe80:"))
    return [*found, *rest]


def is_this_machine(text: str) -> bool:
    """Whether an address, without a zone, is one of this machine's own, of any kind."""
    return text in {each.partition("%")[0] for each in (*_ipv4_addresses(), *_ipv6_addresses())}


def counted_as(peer: str) -> dict[str, int]:
    """Name what an address of another machine counts for, each with how many times the usual it may do.

    A machine may have any number of addresses in its network of IPv6, which the household shares.
    """
    address = ip_address(peer.partition("%")[0])
    address = getattr(address, "ipv4_mapped", None) or address
    if isinstance(address, IPv4Address):
        return {str(address): 1}
    prefix = int(address) >> _IPV6_HOST_BITS << _IPV6_HOST_BITS
    return {str(address): 1, f"{IPv6Address(prefix)}/{128 - _IPV6_HOST_BITS}": HOUSEHOLD}


def url_of(address: str, port: int, *, encrypted: bool = False) -> str:
    """Write an address or a name as a person types it into a browser."""
    host = f"[{address.partition('%')[0]}]" if ":" in address else address
    return f"{'https' if encrypted else 'http'}://{host}:{port}/"


def addresses_to_open(settings: NetworkSettings) -> list[str]:
    """List what to listen on beside the board's own address, as the site file asks."""
    if settings.listen == "board":
        return []
    if settings.listen == "home":
        return home_addresses()
    # To be opened, a link-local address needs its interface.
    with_interface = {each.partition("%")[0]: each for each in home_addresses()}
    return [with_interface.get(each, each) for each in settings.listen]


def _is_of_home(address: str) -> bool:
    return is_home_address(address.partition("%")[0]) and not address.startswith("127.") and address != "::1"


def _ipv4_addresses() -> list[str]:
    buffer = array("B", bytes(_MOST_INTERFACES * _IFREQ_BYTES))
    at, length = buffer.buffer_info()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        answer = fcntl.ioctl(asking, _SIOCGIFCONF, struct.pack("iL", length, at))
    (used,) = struct.unpack_from("i", answer)
    # After the name: the family (2 bytes), the port (2), the address.
    return [socket.inet_ntoa(bytes(buffer[i + 20 : i + 24])) for i in range(0, used, _IFREQ_BYTES)]


def _ipv6_addresses() -> list[str]:
    found = []
    with suppress(OSError):  # a kernel without IPv6
        for line in IPV6_ADDRESSES.read_text(encoding="ascii").splitlines():
            digits, _, _, _, flags, interface = line.split()
            address = socket.inet_ntop(socket.AF_INET6, bytes.fromhex(digits))
            if not int(flags, 16) & _PASSING:
                found.append(f"{address}%{interface}" if address.startswith("fe80:") else address)
    return found


def _main_ipv4_address() -> str:
    """Give the address that this machine has towards the outside; empty where no way leads there."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_ELSEWHERE)
        except OSError:
            return ""
        return str(asking.getsockname()[0])
