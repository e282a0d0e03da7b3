"""Start the desks: `python -m ui` for this machine only, with --address or --proxy for others; `python -m ui user` for sign-ins."""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import errno
import logging
import os
import socket
import ssl
import sys
import threading
import time
import tomllib
import urllib.request
import webbrowser
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from shared.errors import ChillerError
from ui.signin_serving import Serving, start

HOST = "127.0.0.1"
PORT = 8620
LARGEST_UPLOAD_MB = 25  # what a phone's camera makes; where a field allows less, it says so itself
SCRIPT = Path(__file__).parent / "app.py"
ARENAS = 2
M_ARENA_MAX = -8  # its number in the C library's malloc.h

# Everything is given here, so that no configuration file of this machine is needed or can change it. No
# usage statistics: nothing leaves the machine. postScriptGC is off: a full collection after every answer
# cost more than everything else together. A page whose link is gone keeps its session for two minutes only:
# what was answered is in the store, and every session kept holds memory.
OPTIONS: dict[str, Any] = {
    "browser.gatherUsageStats": False,
    "client.showErrorDetails": "none",
    "client.showErrorLinks": False,
    "client.toolbarMode": "minimal",
    "global.developmentMode": False,
    "logger.hideWelcomeMessage": True,
    "logger.level": "warning",
    "runner.magicEnabled": False,
    "runner.postScriptGC": False,
    "server.address": HOST,
    "server.disconnectedSessionTTL": 120,
    "server.enableStaticServing": False,
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.maxUploadSize": LARGEST_UPLOAD_MB,
    "theme.base": "light",
    "theme.light.backgroundColor": "#ffffff",
    "theme.light.secondaryBackgroundColor": "#eef3f1",
    "theme.light.textColor": "#101418",
    "theme.light.primaryColor": "#0b4a43",
    "theme.light.linkColor": "#0b4a43",
    "theme.light.borderColor": "#4a5560",
    "theme.dark.backgroundColor": "#0d1113",
    "theme.dark.secondaryBackgroundColor": "#172022",
    "theme.dark.textColor": "#f2f4f3",
    "theme.dark.primaryColor": "#8fd3c6",
    "theme.dark.linkColor": "#8fd3c6",
    "theme.dark.borderColor": "#9aa7ad",
    "theme.light.showWidgetBorder": True,
    "theme.dark.showWidgetBorder": True,
    "theme.baseFontSize": 18,
    "theme.baseRadius": "0.3rem",
}


def free_port(asked: int | None, address: str = HOST) -> int:
    """The port asked for, else the first free one from PORT on. Raises ChillerError when it is taken."""
    for port in [asked] if asked else range(PORT, PORT + 30):
        try:
            kind, _, _, _, place = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0]
            with socket.socket(kind, socket.SOCK_STREAM) as probe:
                if os.name == "posix":  # elsewhere this option would let two servers share a port
                    probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind(place)
                return port
        except OSError as error:
            if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                raise ChillerError("no address of this machine", given=address, allowed="127.0.0.1, an address of this "
                                   "machine, 0.0.0.0 for all of them", do="correct --address") from None  # fmt: skip
    raise ChillerError(
        "port is taken", given=asked, allowed="a free port, 1024 to 65535", do="choose another with --port"
    )


def _port(text: str) -> int:
    if not text.isdigit() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"'{text[:20]}' given; allowed: 1024 to 65535")
    return int(text)


def parser() -> argparse.ArgumentParser:
    """The command line."""
    made = argparse.ArgumentParser(
        prog="python -m ui",
        description="Start the desks. Without --address or --proxy they are for this machine only and nobody signs in; "
        "served to others, everybody signs in.",
        epilog="python -m ui user --help: who may sign in",
    )
    made.add_argument("--port", type=_port, help=f"port (default: the first free one from {PORT})")
    made.add_argument("--store", help="file or database address of the records (default: CHILLER_STORE, else a file in "
                                      "the user's data folder)")  # fmt: skip
    made.add_argument("--headless", action="store_true", help="open no browser window")
    others = made.add_argument_group("serving to others (sign-in required)")
    others.add_argument("--address", default=HOST, help="address of this machine to listen on; 0.0.0.0 for all")
    others.add_argument("--certificate", metavar="FILE", help="certificate chain (PEM), with --key: encrypts by itself")
    others.add_argument("--key", metavar="FILE", help="private key (PEM) of the certificate")
    others.add_argument(
        "--proxy", action="store_true", help="a program on this machine encrypts and passes requests on"
    )
    others.add_argument(
        "--unencrypted", action="store_true", help="accept that passwords cross the network in the clear"
    )
    others.add_argument("--openid", metavar="FILE", help="TOML file with the [auth] section of an identity provider")
    return made


def _serving(given: argparse.Namespace) -> tuple[Serving, dict[str, Any] | None]:
    """How it is to be served, and the identity provider's section. Raises ChillerError for what would not be safe."""
    if bool(given.certificate) != bool(given.key):
        raise ChillerError("a certificate and its key go together", do="give both --certificate and --key")
    for name in (given.certificate, given.key):
        if name and not Path(name).is_file():
            raise ChillerError("no such file", given=name, do="correct --certificate or --key")
    made = Serving(given.address, given.proxy, bool(given.certificate), bool(given.openid))
    if made.to_others and not made.secure and not given.unencrypted:
        raise ChillerError(
            "passwords would cross the network in the clear",
            given=given.address,
            allowed="--certificate FILE --key FILE; or --proxy, behind a program that encrypts; or --unencrypted",
            do="choose one of the three",
        )
    return made, read_openid(Path(given.openid)) if given.openid else None


OPENID_KEYS = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")


def read_openid(path: Path) -> dict[str, Any]:
    """The [auth] section for Streamlit's own OpenID Connect. Raises ChillerError."""
    try:
        section = tomllib.loads(path.read_text(encoding="utf-8")).get("auth", {})
    except (OSError, ValueError) as error:
        raise ChillerError(
            "file of the identity provider cannot be read", given=str(path), do=str(error)[:120]
        ) from None
    missing = [k for k in OPENID_KEYS if not isinstance(section.get(k), str) or not section[k]]
    if missing or len(section["cookie_secret"]) < 32 or not section["redirect_uri"].endswith("/oauth2callback"):
        raise ChillerError(
            "file of the identity provider is not complete",
            given=", ".join(f"no {k}" for k in missing) or "cookie_secret or redirect_uri",
            allowed="[auth] with "
            + ", ".join(OPENID_KEYS)
            + "; redirect_uri ends in /oauth2callback, cookie_secret is "
            "32 characters or more",
            do=f"complete {path.name}",
        )
    if find_spec("authlib") is None or find_spec("httpx") is None:
        raise ChillerError(
            "a package is missing", given="Authlib, httpx", do="install chiller-diagnose with the extra openid"
        )
    return dict(section)


def _announce(address: str, probe: str, open_window: bool) -> None:
    """Print the address when it answers, then load what the first question needs."""
    here = ssl.create_default_context()
    here.check_hostname, here.verify_mode = False, ssl.CERT_NONE  # it only asks itself whether it is up
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"{probe}/_stcore/health", timeout=2, context=here) as reply:
                if reply.status == 200:
                    break
        except OSError:
            time.sleep(0.1)
    print(f"Chiller Diagnose: {address}   (Ctrl-C ends it)", flush=True)
    if open_window:
        webbrowser.open(address)
    from ui import office

    office.warm_up()


def few_arenas() -> bool:
    """Have threads share a few heaps; False where the C library has no such setting.

    A thread draws one screen. With a heap for each, what one screen needed lies idle in all of them, and memory grows.
    """
    setting = getattr(ctypes.CDLL(None), "mallopt", None) if os.name == "posix" else None
    return bool(setting and setting(M_ARENA_MAX, ARENAS))


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code: 0 after an orderly end, 2 for wrong use or a store or cards that cannot be read."""
    logging.basicConfig(level=logging.WARNING)  # before any library makes itself the one listener
    words = list(sys.argv[1:] if arguments is None else arguments)
    if words[:1] == ["user"]:
        from ui import signin_users

        return signin_users.main(words[1:])
    given = parser().parse_args(words)
    few_arenas()
    if given.store:
        os.environ["CHILLER_STORE"] = given.store
    try:
        serving, openid = _serving(given)
        port = free_port(given.port, given.address)
        from ui import office

        office.open_records()
        if serving.to_others and not office.store().users.anybody():
            raise ChillerError(
                "nobody could sign in", do="add yourself first: python -m ui user add NAME --role keeper"
            )
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2
    return _run(given, serving, openid, port)


def _run(given: argparse.Namespace, serving: Serving, openid: dict[str, Any] | None, port: int) -> int:
    import streamlit as st
    from starlette.middleware import Middleware

    from ui import office, signin_page
    from ui.signin_gate import Gate
    from ui.turns import Turns

    start(serving)
    users = office.store().users
    app = st.App(
        SCRIPT,
        routes=signin_page.routes(users, serving),
        middleware=[Middleware(Gate, users=users, serving=serving), Middleware(Turns)],
        secrets={"auth": openid} if openid else None,
    )
    scheme = "https" if serving.certificate else "http"
    shown = socket.gethostname() if given.address in ("0.0.0.0", "::") else given.address
    probe = HOST if given.address == "0.0.0.0" else "[::1]" if given.address == "::" else given.address
    addresses = [f"{scheme}://{f'[{one}]' if ':' in one and one[0] != '[' else one}:{port}" for one in (shown, probe)]
    threading.Thread(target=_announce, args=(*addresses, not given.headless), daemon=True).start()
    options = {**OPTIONS, "server.address": given.address, "server.port": port}
    if serving.certificate:
        options |= {"server.sslCertFile": given.certificate, "server.sslKeyFile": given.key}
    sys.argv = [str(SCRIPT)]  # what it takes for the place of the app's own files
    with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is the orderly end
        app.run(config=options)
    return 0


if __name__ == "__main__":
    sys.exit(main())
