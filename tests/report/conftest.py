"""Pages made once, and a real browser to look at them in."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from report.pages import CASES, COUPE, hostile, made
from simlaunch.cli.main import answer

FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-extensions",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--no-first-run",
)


def lacking(what: str, instead: str) -> Any:
    """End a test that lacks a tool: a failure where `.ci/run` wants all tests, and else a reason to skip it."""
    told = f"{what} is missing; {instead}"
    if os.environ.get("SIMLAUNCH_TEST_ALL"):
        pytest.fail(told)
    return pytest.skip(told)


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pages")


@pytest.fixture(scope="session")
def sweep_file(folder: Path) -> Path:
    path = folder / "coupe.sqlite"
    vary = ("--vary", "curve", "--vary", "gear set")
    assert answer(["sweep", str(COUPE), "-o", str(path), *vary, "--quiet"]) == 0
    return path


@pytest.fixture(scope="session")
def coupe(folder: Path, sweep_file: Path) -> Path:
    """Page of the demonstration coupe, with a sweep."""
    path = folder / "coupe.html"
    made(COUPE, "-o", path, "--sweep", sweep_file, "--cases", str(CASES))
    return path


@pytest.fixture(scope="session")
def coupe_text(coupe: Path) -> str:
    return coupe.read_text("utf-8")


@pytest.fixture(scope="session")
def hostile_page(folder: Path) -> Path:
    """Page of a car whose every name wants to break out of it."""
    path = folder / "hostile.html"
    made(hostile(folder), "-o", path, "--cases", str(CASES))
    return path


@pytest.fixture(scope="session")
def chromium() -> tuple[str, str]:
    """Paths of Chromium and of its driver."""
    browser, driver = shutil.which("chromium"), shutil.which("chromedriver")
    return (
        (browser, driver)
        if browser and driver
        else lacking("Chromium or its driver", "install chromium and chromium-driver")
    )


@pytest.fixture(scope="session")
def axe() -> str:
    """Source of the accessibility rules of axe-core, which stand apart from this project."""
    named = os.environ.get("AXE_CORE", "")
    if not Path(named).is_file():
        lacking("axe-core", "`npm pack axe-core`, unpack it, and name its axe.min.js in AXE_CORE")
    return Path(named).read_text("utf-8")


@pytest.fixture(scope="session")
def driver(chromium: tuple[str, str]) -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    as_root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    for flag in (*FLAGS, *as_root):
        options.add_argument(flag)
    options.binary_location = chromium[0]
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(chromium[1]))
    yield driver
    driver.quit()
