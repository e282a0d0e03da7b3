"""Without a browser or a server a test skips with a reason; with CHILLER_REQUIRE_ALL=1 no skip passes."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

CONFTEST = Path(__file__).parents[1] / "conftest.py"
TESTS = """
import pytest
def test_plain(): pass
def test_server(postgres_url): pass
def test_browser(browser): pass
@pytest.mark.xfail
def test_known_failure(): assert False
"""
FILE_THAT_SKIPS = "import pytest\npytest.skip('not here', allow_module_level=True)\n"


def run_with(folder: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    hidden = ("CHILLER_", "PYTEST_")
    environment = {key: value for key, value in os.environ.items() if not key.startswith(hidden)}
    environment |= {"PATH": "", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", **variables}
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-rs", "-p", "no:cacheprovider", "--rootdir", folder, folder],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copy(CONFTEST, tmp_path / "conftest.py")
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers =\n browser\n postgres\n", encoding="utf-8")
    (tmp_path / "test_some.py").write_text(TESTS, encoding="utf-8")
    return tmp_path


def test_a_skip_names_what_is_missing(folder: Path) -> None:
    done = run_with(folder)
    assert done.returncode == 0, done.stdout
    assert "1 passed, 2 skipped, 1 xfailed" in done.stdout
    assert "CHILLER_TEST_POSTGRES" in done.stdout and "CHILLER_TEST_CHROMIUM" in done.stdout


def test_a_skip_fails_where_all_is_required(folder: Path) -> None:
    done = run_with(folder, CHILLER_REQUIRE_ALL="1")
    assert done.returncode == 1
    assert "1 passed, 1 xfailed, 2 errors" in done.stdout
    assert "skipped although CHILLER_REQUIRE_ALL=1: no PostgreSQL server" in done.stdout


def test_a_whole_file_that_skips_fails_too(folder: Path) -> None:
    (folder / "test_some.py").write_text(FILE_THAT_SKIPS, encoding="utf-8")
    assert run_with(folder).returncode == 5
    done = run_with(folder, CHILLER_REQUIRE_ALL="1")
    assert done.returncode == 2
    assert "skipped although CHILLER_REQUIRE_ALL=1: not here" in done.stdout


def test_a_wrong_browser_path_is_said(folder: Path) -> None:
    done = run_with(folder, CHILLER_TEST_CHROMIUM=str(folder / "nowhere"))
    assert done.returncode == 1 and "allowed: path of a Chromium" in done.stdout


def test_with_both_nothing_skips(need_browser: Path, postgres_url: str) -> None:
    """Here only to show, where all is required, that both are really used."""
    from sqlalchemy import create_engine, text

    engine = create_engine(postgres_url)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT 1 + 1")).scalar_one() == 2
    engine.dispose()
    assert need_browser.is_file()
