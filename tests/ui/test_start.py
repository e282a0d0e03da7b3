"""`python -m ui`: what it listens on, what it says, how it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from ui.__main__ import HOST, OPTIONS, main
from ui.machines import LARGEST_MB
from ui.placement import photos


def start(*arguments: str, store: Path, cwd: Path) -> subprocess.Popen[str]:
    clean = {k: v for k, v in os.environ.items() if not k.startswith("STREAMLIT")}
    return subprocess.Popen(
        [sys.executable, "-m", "ui", "--headless", "--store", str(store), *arguments],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=cwd, env=clean,
    )  # fmt: skip


def test_it_prints_its_address_serves_there_and_ends_when_told(tmp_path: Path) -> None:
    # a configuration of the folder it is started from must not change how it runs
    (tmp_path / ".streamlit").mkdir()
    (tmp_path / ".streamlit" / "config.toml").write_text('[server]\naddress = "0.0.0.0"\nport = 9\n')
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port = probe.getsockname()[1]
    process = start("--port", str(port), store=tmp_path / "x.sqlite", cwd=tmp_path)
    assert process.stdout is not None
    try:
        line = process.stdout.readline()
        assert f"http://{HOST}:{port}" in line
        with urllib.request.urlopen(f"http://{HOST}:{port}/_stcore/health", timeout=10) as reply:
            assert reply.status == 200
        other = socket.gethostbyname(socket.gethostname())
        if not other.startswith("127."):
            with pytest.raises(OSError), socket.create_connection((other, port), timeout=2):
                pass
        second = start("--port", str(port), store=tmp_path / "y.sqlite", cwd=tmp_path)
        assert second.wait(60) == 2
        assert second.stderr is not None
        told = second.stderr.read()
        assert len(told.splitlines()) == 1 and "port is taken" in told and "--port" in told
    finally:
        process.send_signal(signal.SIGTERM if os.name == "nt" else signal.SIGINT)
        out, errors = process.communicate(timeout=30)
    assert "Traceback" not in out + errors
    assert process.returncode in (0, 1, -2, 130)


def test_a_wrong_store_is_told_and_exit_2(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "ui", "--headless", "--store", "mysql://u:pw@h/d"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, timeout=60, check=False)
    assert done.returncode == 2 and "postgresql+psycopg" in done.stderr and "Traceback" not in done.stderr
    assert "pw" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--port", "80"], "1024 to 65535"),
        (["--port", "many"], "1024 to 65535"),
        (["--colour", "red"], "unrecognized"),
    ],
)
def test_wrong_use_is_told_and_exit_2(arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--headless", *arguments])
    assert ended.value.code == 2 and told in capsys.readouterr().err


def test_this_streamlit_knows_every_option() -> None:
    """A hidden option may vanish in a release; without postScriptGC every answer would take several times as long."""
    from streamlit import config

    known = config._config_options_template
    assert [name for name in OPTIONS if name not in known] == []
    assert OPTIONS["runner.postScriptGC"] is False and OPTIONS["browser.gatherUsageStats"] is False
    assert OPTIONS["server.address"] == "127.0.0.1"


def test_what_a_field_takes_the_app_takes() -> None:
    """A field that lets a larger file through than the app takes ends in a number of the protocol instead of a line of ours."""
    allowed = OPTIONS["server.maxUploadSize"]
    assert LARGEST_MB <= photos.LARGEST_MB == allowed


def test_the_look_is_shipped() -> None:
    from importlib import resources

    assert (resources.files("ui") / "look.css").is_file()


HEAPS = """
import ctypes, sys, threading
libc = ctypes.CDLL(None)
libc.malloc.restype, libc.fdopen.restype = ctypes.c_void_p, ctypes.c_void_p
if sys.argv[1] == "few":
    from ui.__main__ import few_arenas
    assert few_arenas()
together = threading.Barrier(8)
def draw():
    together.wait()
    libc.malloc(1000)
    together.wait()
threads = [threading.Thread(target=draw) for _ in range(8)]
for one in threads: one.start()
for one in threads: one.join()
out = ctypes.c_void_p(libc.fdopen(1, b"w"))
libc.malloc_info(0, out)
libc.fflush(out)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="heaps are told by the C library of Linux")
def test_threads_share_two_heaps() -> None:
    def heaps(word: str) -> int:
        clean = {k: v for k, v in os.environ.items() if not k.startswith("MALLOC_")}
        told = subprocess.run(
            [sys.executable, "-c", HEAPS, word], capture_output=True, text=True, check=True, env=clean
        )
        return told.stdout.count("<heap nr=")

    assert heaps("many") > 2 >= heaps("few")
