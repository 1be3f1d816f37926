"""The address of this machine on the local network, found without asking anyone."""

from __future__ import annotations

import ipaddress
import socket

from walkboard.errors import InputError


def local_addresses() -> tuple[str, ...]:
    """IPv4 addresses at which other devices can reach this one, private networks first."""
    import ifaddr  # noqa: PLC0415 - only wanted when the desk is shared

    found: list[ipaddress.IPv4Address] = []
    for adapter in ifaddr.get_adapters():
        for ip in adapter.ips:
            if not ip.is_IPv4 or not isinstance(ip.ip, str):
                continue
            address = ipaddress.IPv4Address(ip.ip)
            if not (address.is_loopback or address.is_link_local or address in found):
                found.append(address)
    return tuple(str(a) for a in sorted(found, key=lambda a: not a.is_private))


def address_to_share(wanted: str | None) -> str:
    """The one address to share at.

    Parameters
    ----------
    wanted : str or None
        Named by the user; None takes the only one.

    Raises
    ------
    InputError
        If there is none, several and none was named, or the named one is not this machine's.
    """
    there = local_addresses()
    if wanted is not None:
        if wanted not in there:
            raise InputError(
                f"This machine has no address {wanted}.",
                fix=f"It has: {', '.join(there)}." if there else "It is on no network.",
            )
        return wanted
    if not there:
        raise InputError(
            "This machine is on no local network.",
            fix="Join one, or make one: a phone's own hotspot is enough and needs no internet.",
        )
    if len(there) > 1:
        raise InputError(
            f"This machine is on several networks: {', '.join(there)}.",
            fix="Name the one to share at with --address.",
        )
    return there[0]


def bound(address: str, port: int) -> socket.socket:
    """A socket listening at one address and port (0: any free one).

    Raises
    ------
    OSError
        When the port is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((address, port))
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    return listening
