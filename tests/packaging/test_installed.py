"""The wheel and the editable install, each in an environment of its own, run from awkward folders.

The environment made here holds only our distribution; the libraries are borrowed by a path file from the
environment that runs the tests, whose own path files Python does not follow from there. So our checkout stays
out of sight, and a file missing from the wheel is missing here too.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import sysconfig
import time
import tomllib
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
OURS = ("shared", "knowledge", "diagnose", "ui")
ODD_NAME = "Geräte & Fälle, été"  # spaces, an ampersand and letters outside ASCII
NOT_SHIPPED = shutil.ignore_patterns("__pycache__", "*.pyc", ".mypy_cache", ".ruff_cache")


def variables(own: Path) -> dict[str, str]:
    """No variable that could help to find our checkout or cards; the user's folders are in ``own``."""
    hidden = ("PYTHON", "VIRTUAL_ENV", "CHILLER_", "XDG_")
    kept = {key: value for key, value in os.environ.items() if not key.startswith(hidden)}
    folders = ("HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME", "LOCALAPPDATA", "APPDATA", "USERPROFILE")
    return kept | dict.fromkeys(folders, str(own)) | {"PYTHONIOENCODING": "utf-8"}


def run(*command: object, cwd: Path, cache: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=variables(cache),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=120,
    )


def succeed(*command: object, cwd: Path, cache: Path) -> str:
    done = run(*command, cwd=cwd, cache=cache)
    assert done.returncode == 0, f"{command} in {cwd}: exit {done.returncode}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@dataclass(frozen=True)
class Installed:
    """One environment with our distribution. home: where its packages must come from. cwd: awkward folder."""

    environment: Path
    home: Path
    cwd: Path
    cache: Path

    @property
    def scripts(self) -> Path:
        return self.environment / ("Scripts" if os.name == "nt" else "bin")

    def python(self, *arguments: str) -> str:
        return succeed(self.scripts / "python", *arguments, cwd=self.cwd, cache=self.cache)

    def script(self, name: str, *arguments: str) -> str:
        return succeed(self.scripts / name, *arguments, cwd=self.cwd, cache=self.cache)


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of what is built, with decoys beside it: builds leave files, and the checkout stays clean."""
    copy = tmp_path_factory.mktemp("source") / ODD_NAME
    copy.mkdir()
    shutil.copy(ROOT / "pyproject.toml", copy)
    project = tomllib.loads((copy / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    if "readme" in project:
        shutil.copy(ROOT / project["readme"], copy)
    for package in OURS:
        shutil.copytree(ROOT / package, copy / package, ignore=NOT_SHIPPED)
    for decoy in ("tests", "shared_old", "tests/shared"):
        (copy / decoy).mkdir()
        (copy / decoy / "__init__.py").touch()
    return copy


@pytest.fixture(scope="module")
def wheel(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    build = shutil.copytree(source, folder / "build here")
    options = ("-q", "--no-index", "--no-deps", "--no-build-isolation", "--disable-pip-version-check")
    succeed(sys.executable, "-m", "pip", "wheel", *options, "-w", folder, build, cwd=folder, cache=folder)
    (found,) = folder.glob("*.whl")
    return found


def make_environment(folder: Path, what: Iterable[object]) -> Installed:
    """Install into a new environment, then borrow the libraries, then make the awkward folder."""
    environment = folder / ODD_NAME / "environment"
    cwd = folder / "awkward" / ODD_NAME
    for package in (*OURS, "tests"):
        (cwd / package).mkdir(parents=True)
    succeed(sys.executable, "-m", "venv", "--without-pip", environment, cwd=folder, cache=folder)
    installed = Installed(environment, folder, cwd, folder / "cache")
    paths = {"base": str(environment), "platbase": str(environment)}
    site = Path(sysconfig.get_path("purelib", "venv", paths))
    here = Path(sysconfig.get_path("purelib"))
    assert site.is_dir() and (here / "pydantic").is_dir()
    python = installed.scripts / "python"
    options = ("-q", "--no-index", "--no-deps", "--disable-pip-version-check")
    command = (sys.executable, "-m", "pip", "--python", python, "install", *options)
    if "-e" in what:
        # the build needs setuptools: borrow first, and do not let the copy found there count as installed
        (site / "borrowed.pth").write_text(f"{here}\n", encoding="utf-8")
        command = (*command, "--no-build-isolation", "--ignore-installed")
    succeed(*command, *what, cwd=folder, cache=folder)
    (site / "borrowed.pth").write_text(f"{here}\n", encoding="utf-8")
    return Installed(environment, site, cwd, folder / "cache")


@pytest.fixture(scope="module")
def from_wheel(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    return make_environment(tmp_path_factory.mktemp("fresh"), [wheel])


@pytest.fixture(scope="module")
def from_source(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    made = make_environment(tmp_path_factory.mktemp("editable"), ["-e", source])
    return Installed(made.environment, source, made.cwd, made.cache)


@pytest.fixture(params=["from_wheel", "from_source"])
def installed(request: pytest.FixtureRequest) -> Installed:
    made: Installed = request.getfixturevalue(request.param)
    return made


def test_the_wheel_holds_every_file_of_the_four_packages_only(wheel: Path, source: Path) -> None:
    """A folder without __init__.py, or data of a kind that pyproject.toml does not list, shows up here."""
    names = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    files = {
        path.relative_to(source).as_posix()
        for package in OURS
        for path in (source / package).rglob("*")
        if path.is_file()
    }
    assert {name for name in names if "__pycache__" in name} == set()
    assert files - names == set(), "missing from the wheel"
    assert names - files == set(), "not ours"


def test_the_wheel_needs_what_the_project_says(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    (name,) = (name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
    text = archive.read(name).decode("utf-8")
    for line in ("Requires-Python: <3.14,>=3.11", "Requires-Dist: frozendict==1.2", "Provides-Extra: test"):
        assert line in text
    assert wheel.name.endswith("-py3-none-any.whl")


def test_our_packages_come_from_the_installation(installed: Installed) -> None:
    """With the current directory first on the path, as `python -m` has it, a bare folder does not win."""
    code = f"import json; print(json.dumps([__import__(name).__file__ for name in {OURS}]))"
    for path in json.loads(installed.python("-c", code)):
        assert Path(path).is_relative_to(installed.home), path
    flags = json.loads(installed.python("-c", "import json, sys; print(json.dumps(sys.path))"))
    assert str(ROOT) not in flags, "the checkout leaks into the environment"


def test_the_editable_install_is_a_path_file(from_source: Installed) -> None:
    site = Path(from_source.python("-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip())
    (path_file,) = site.glob("__editable__*")
    assert path_file.suffix == ".pth"
    assert Path(path_file.read_text(encoding="utf-8").strip()) == from_source.home


@pytest.mark.parametrize("name", ["chiller-diagnose", "chiller-knowledge", "chiller-ui"])
def test_console_scripts_help(installed: Installed, name: str) -> None:
    assert "usage" in installed.script(name, "--help").lower()


def test_causes_from_an_awkward_folder(installed: Installed) -> None:
    by_script = json.loads(installed.script("chiller-diagnose", "causes", "--json"))
    by_module = json.loads(installed.python("-m", "diagnose", "causes", "--json"))
    assert by_script and by_script == by_module


def test_knowledge_check_from_an_awkward_folder(from_wheel: Installed) -> None:
    from_wheel.script("chiller-knowledge", "check")


def test_the_cards_are_found_from_an_awkward_folder(installed: Installed) -> None:
    stats = json.loads(installed.python("-m", "knowledge", "stats", "--json"))
    assert all(stats["cards"][kind] > 0 for kind in ("causes", "checks", "rules", "complaints"))


def test_the_app_starts_from_an_awkward_folder(installed: Installed, browser: Any) -> None:
    """Streamlit puts the folder of our script first on the path, `python -m` the current one: no harm."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    log = installed.cwd.parent / "app.log"
    with log.open("w", encoding="utf-8") as output:
        command = [str(installed.scripts / "python"), "-m", "ui", "--headless", "--port", str(port)]
        app = subprocess.Popen(
            command,
            cwd=installed.cwd,
            env=variables(installed.cache),
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    try:
        deadline = time.monotonic() + 60
        while "http://" not in log.read_text(encoding="utf-8"):
            assert app.poll() is None and time.monotonic() < deadline, log.read_text(encoding="utf-8")
            time.sleep(0.1)
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{port}")
        try:
            page.locator("h1").first.wait_for(timeout=30_000)
        except Exception as error:
            shown = page.locator("body").inner_text()
            raise AssertionError(f"no heading in 30 s; shown: {shown!r}; log: {log.read_text()!r}") from error
        text = page.locator("body").inner_text()
        assert "cannot be read" not in text and "Error" not in text, text
        assert page.locator("[data-testid=stException]").count() == 0
        page.close()
    finally:
        app.terminate()
        app.wait(timeout=20)


def test_the_scripts_of_this_environment(tmp_path: Path) -> None:
    """The ones that the start command installed: editable, from this checkout, run from bare folders."""
    scripts = Path(sysconfig.get_path("scripts"))
    if not (scripts / "chiller-diagnose").exists() and not (scripts / "chiller-diagnose.exe").exists():
        pytest.fail("chiller-diagnose is not installed here; run the tests by `python3 .ci/go.py test`")
    for package in (*OURS, "tests"):
        (tmp_path / package).mkdir()
    succeed(scripts / "chiller-diagnose", "causes", "--json", cwd=tmp_path, cache=tmp_path)
