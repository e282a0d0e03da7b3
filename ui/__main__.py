"""Start the desks on this machine: `python -m ui`."""

from __future__ import annotations

import argparse
import os
import socket
import sys
import threading
import time
import urllib.request
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from shared.errors import ChillerError

HOST = "127.0.0.1"
PORT = 8620
SCRIPT = Path(__file__).parent / "app.py"

# Everything is given here, so that no configuration file of this machine is needed or can change it. No
# usage statistics: nothing leaves the machine. postScriptGC is off: a full collection after every answer
# cost more than everything else together.
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
    "server.disconnectedSessionTTL": 3600,
    "server.enableStaticServing": False,
    "server.fileWatcherType": "none",
    "server.headless": True,
    "server.maxUploadSize": 5,
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


def free_port(asked: int | None) -> int:
    """The port asked for, else the first free one from PORT on. Raises ChillerError when it is taken."""
    for port in [asked] if asked else range(PORT, PORT + 30):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            if os.name == "posix":  # elsewhere this option would let two servers share a port
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((HOST, port))
                return port
            except OSError:
                continue
    raise ChillerError(
        "port is taken", given=asked, allowed="a free port, 1024 to 65535", do="choose another with --port"
    )


def _port(text: str) -> int:
    if not text.isdigit() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"'{text[:20]}' given; allowed: 1024 to 65535")
    return int(text)


def _arguments(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m ui", description="Start the desks on this machine.")
    parser.add_argument("--port", type=_port, help=f"port on {HOST} (default: the first free one from {PORT})")
    parser.add_argument("--store", help="file or database address of the records (default: CHILLER_STORE, else a "
                                        "file in the user's data folder)")  # fmt: skip
    parser.add_argument("--headless", action="store_true", help="open no browser window")
    return parser.parse_args(arguments)


def _announce(address: str, open_window: bool) -> None:
    """Print the address when it answers, then load what the first question needs."""
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2) as reply:
                if reply.status == 200:
                    break
        except OSError:
            time.sleep(0.1)
    print(f"Chiller Diagnose: {address}   (Ctrl-C ends it)", flush=True)
    if open_window:
        webbrowser.open(address)
    from ui import office

    office.warm_up()


def main(arguments: Sequence[str] | None = None) -> int:
    """Exit code: 0 after an orderly end, 2 for wrong use or a store or cards that cannot be read."""
    given = _arguments(arguments)
    if given.store:
        os.environ["CHILLER_STORE"] = given.store
    try:
        port = free_port(given.port)
        from ui import office

        office.open_records()
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2
    from streamlit.web import bootstrap

    flags = {name.replace(".", "_"): value for name, value in {**OPTIONS, "server.port": port}.items()}
    bootstrap.load_config_options(flag_options=flags)
    threading.Thread(target=_announce, args=(f"http://{HOST}:{port}", not given.headless), daemon=True).start()
    bootstrap.run(str(SCRIPT), False, [], flags)
    return 0


if __name__ == "__main__":
    sys.exit(main())
