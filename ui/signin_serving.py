"""How the app was started: for this machine only, or for others. Known before anything heavy is loaded."""

from __future__ import annotations

from dataclasses import dataclass
from ipaddress import ip_address

COOKIE = "chiller_sign_in"
PAGE = "/sign-in"
PASSED_ON = ("x-forwarded-for", "x-real-ip", "forwarded", "x-forwarded-host")


@dataclass(frozen=True)
class Serving:
    """How the app was started. proxy: another program in front passes requests on; certificate: encrypted by itself."""

    address: str = "127.0.0.1"
    proxy: bool = False
    certificate: bool = False
    openid: bool = False

    @property
    def to_others(self) -> bool:
        """Whether anybody but this machine can reach it; then everybody signs in."""
        return self.proxy or not is_loopback(self.address)

    @property
    def secure(self) -> bool:
        """Whether it is reached encrypted, so that the cookie may be kept to that."""
        return self.proxy or self.certificate


_started: list[Serving] = []


def start(serving: Serving) -> None:
    """Told once by whoever starts the app."""
    _started[:] = [serving]


def serving() -> Serving | None:
    """How the app was started, None when it was not started by `python -m ui`."""
    return _started[0] if _started else None


def is_loopback(host: str) -> bool:
    """Whether a host or address is this machine's own.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0"), is_loopback("unit.example")
    (True, True, False, False)
    """
    if host.lower() == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
