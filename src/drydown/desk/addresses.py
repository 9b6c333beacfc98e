"""Addresses of this machine: by which phones reach the desk, and what stands in their way."""

from __future__ import annotations

import ipaddress
import socket
from dataclasses import dataclass

import ifaddr

from drydown.words import say

__all__ = ["Reach", "local_addresses", "reach", "shown_host"]

CARRIER = ipaddress.ip_network("100.64.0.0/10")
EVERY = ("0.0.0.0", "::")  # noqa: S104 (compared, not bound)


@dataclass(frozen=True, slots=True)
class Reach:
    """What a desk that listens on `host` is called: every name and address, the best one first."""

    names: tuple[str, ...]
    best: str
    notes: tuple[str, ...]


def local_addresses() -> list[str]:
    """Addresses of this machine's network cards, loopback left out; those of IPv4 first."""
    found = []
    for card in ifaddr.get_adapters():
        for row in card.ips:
            text = row.ip if isinstance(row.ip, str) else row.ip[0]
            address = ipaddress.ip_address(text.partition("%")[0])
            if not address.is_loopback and not (address.version == 6 and address.is_link_local):
                found.append(address)
    order = sorted(set(found), key=lambda a: (a.version, _rank(a), int(a)))
    return [str(a) for a in order]


def _rank(address: ipaddress.IPv4Address | ipaddress.IPv6Address) -> int:
    """Addresses of a local network before public ones, those of carriers, and those nobody gave."""
    if address.is_link_local:
        return 3
    if address.version == 4 and address in CARRIER:
        return 2
    return 0 if address.is_private else 1


def reach(host: str, asked: list[str]) -> Reach:
    """Names and addresses for a desk on `host`, with those the user asked for.

    Args: host, the address listened on; asked, further names. Returns: `Reach`; its notes say what
    stands in the way of phones.
    """
    mine = local_addresses() if host in EVERY else [host]
    if host == "0.0.0.0":  # noqa: S104 (compared, not bound)
        mine = [a for a in mine if ":" not in a]
    names = ["localhost", "127.0.0.1", "::1", socket.gethostname(), *mine, *asked]
    outside = [a for a in mine if a not in {"127.0.0.1", "::1", "localhost"}]
    best = asked[0] if asked else outside[0] if outside else "127.0.0.1"
    return Reach(tuple(dict.fromkeys(n for n in names if n)), best, tuple(_notes(host, outside)))


def _notes(host: str, outside: list[str]) -> list[str]:
    if host in EVERY and not outside:
        return [
            "This machine has no address in a network: join one, then start again; no phone reaches it now."
        ]
    notes: list[str] = []
    for text in outside:
        try:
            address = ipaddress.ip_address(text)
        except ValueError:
            continue
        if address.is_link_local:
            notes.append(
                say(
                    "{text} is an address that the machine gave itself, because no router gave it one: "
                    "phones reach it only on the same cable or cell. Check the router.",
                    text=text,
                )
            )
        elif address.version == 4 and address in CARRIER:
            notes.append(
                say(
                    "{text} is an address of a carrier's network: other customers may see it and phones "
                    "on another network cannot reach it. Use a router of your own.",
                    text=text,
                )
            )
        elif address.is_global:
            notes.append(
                say(
                    "{text} is open to the whole internet: put the desk behind a router of your own.",
                    text=text,
                )
            )
    return notes


def shown_host(host: str) -> str:
    """A host as it stands in an address: IPv6 in brackets."""
    return f"[{host}]" if ":" in host else host
