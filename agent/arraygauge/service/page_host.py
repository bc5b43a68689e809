"""Whose name a request may be addressed to.

A page elsewhere can have its own name resolve to this machine's loopback address and then read
what is served here as if it were its own (DNS rebinding). Its requests still carry its name.
"""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import ip_address
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

_LOOPBACK_NAMES = ("localhost", "localhost.")


def is_own_name(header: str, listen_address: str) -> bool:
    """Whether a Host header (RFC 9110, 7.2) names loopback or the address that is listened on.
    The port is not looked at: it may be forwarded from another."""
    name = _without_port(header).lower()
    return name in (*_LOOPBACK_NAMES, listen_address.lower()) or _is_loopback(name)


def _without_port(header: str) -> str:
    """IPv6 addresses stand in brackets there."""
    if header.startswith("["):
        return header[1:].partition("]")[0]
    return header.partition(":")[0]


def _is_loopback(name: str) -> bool:
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return False


def addressed_to(listen_address: str, answer: WSGIApplication) -> WSGIApplication:
    """The same application, for requests that are addressed to this machine by its own name:
    400 for those that name nobody, 421 for those that name another (RFC 9110, 15.5.20)."""

    def checked(environment: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        header = environment.get("HTTP_HOST", "")
        if is_own_name(header, listen_address):
            return answer(environment, start)
        status = "421 Misdirected Request" if header else "400 Bad Request"
        start(status, [("Content-Length", "0"), ("Cache-Control", "no-store")])
        return []

    return checked
