"""From the pointer's move to new numbers on the screen of `simlaunch live`, in a real browser.

    python tests/benchmarks/live_latency.py [seconds] [scenario]

Chromium drags a point to and fro with 60 moves a second, as a mouse sends them. Every answer is timed by the page's own
clock from the time stamp of the newest move in it to the frame in which its numbers stand, and taken apart:

- launch: time of the launches and of their measures in the server, waiting for its thread included;
- transport: from the request to the last byte of the answer, less the launches;
- drawing: from the answer to the next frame;
- waiting: the rest, which is the answer to an older state that was still under way when the hand moved on.

Runs by hand; nothing is asserted. The load of the machine is printed beside the figures, since they follow it.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import typer
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

sys.path.insert(0, str(Path(__file__).parents[1]))

from live.pages import copied, served
from report.conftest import FLAGS

MOVES_PER_SECOND = 60.0
REACH = 60.0  # how far the pointer goes up and down [px]

_HANDLE = """
    const handle = document.querySelectorAll('#drawing [role=slider]')[5];
    handle.scrollIntoView({block: 'center'});
    const box = handle.querySelector('.dot').getBoundingClientRect();
    performance.setResourceTimingBufferSize(100000);
    performance.clearMeasures();
    performance.clearResourceTimings();
    return [box.x + box.width / 2, box.y + box.height / 2];
"""
_MEASURED = """
    const times = (name) => performance.getEntriesByName(name, "measure").map((each) => each.duration);
    const asked = performance.getEntriesByType("resource").filter((each) => each.name.endsWith("/quick"));
    return {
      answer: times("answer"), drawing: times("drawing"),
      launch: asked.map((each) => each.serverTiming[0].duration),
      request: asked.map((each) => each.responseEnd - each.startTime),
    };
"""


def browser() -> Any:
    """Chromium without a window."""
    options = webdriver.ChromeOptions()
    for flag in (*FLAGS, "--no-sandbox"):
        options.add_argument(flag)
    options.binary_location = shutil.which("chromium") or ""
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


def mouse(driver: Any, kind: str, x: float, y: float) -> None:
    """One event of the left button."""
    event = {"type": kind, "x": x, "y": y, "button": "left", "buttons": 1, "clickCount": int(kind != "mouseMoved")}
    driver.execute_cdp_cmd("Input.dispatchMouseEvent", event)


def dragged(driver: Any, seconds: float) -> dict[str, np.ndarray]:
    """Times of every answer while a point is dragged [ms]."""
    x, y = driver.execute_script(_HANDLE)
    mouse(driver, "mousePressed", x, y)
    begun, k = time.perf_counter(), 0
    while (now := time.perf_counter() - begun) < seconds:
        mouse(driver, "mouseMoved", x, y - REACH * np.sin(2.0 * np.pi * 0.5 * now))
        k += 1
        time.sleep(max(0.0, k / MOVES_PER_SECOND - (time.perf_counter() - begun)))
    mouse(driver, "mouseReleased", x, y)
    time.sleep(3.0)
    found = {name: np.array(values) for name, values in driver.execute_script(_MEASURED).items()}
    found["transport"] = found.pop("request") - found["launch"]
    typer.echo(f"{k} moves in {seconds:g} s, {found['answer'].size} answers")
    return found


def main() -> None:
    """Print a line for each part."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    name = sys.argv[2] if len(sys.argv) > 2 else "road-coupe.toml"
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    typer.echo(f"{name}, {os.cpu_count()} cores, load before the measurement {load:.1f}")
    with tempfile.TemporaryDirectory() as folder, served(copied(Path(folder), name)) as page:
        driver = browser()
        try:
            driver.set_window_size(1280, 1000)
            driver.get(page.address)
            until = time.monotonic() + 120.0
            while "hatched" not in driver.execute_script("return document.getElementById('why-state').textContent"):
                if time.monotonic() > until:
                    raise SystemExit("the page gives no first answer")
                time.sleep(0.2)
            found = dragged(driver, seconds)
        finally:
            driver.quit()
    parts = sum(np.median(found[each]) for each in ("launch", "transport", "drawing"))
    typer.echo(f"{'':22}  median  95 %  [ms]")
    for part in ("answer", "launch", "transport", "drawing"):
        label = "pointer to numbers" if part == "answer" else f"  of it {part}"
        typer.echo(f"{label:22} {np.median(found[part]):7.1f} {np.percentile(found[part], 95.0):5.0f}")
    typer.echo(f"{'  waiting, in the median':22} {max(np.median(found['answer']) - parts, 0.0):5.1f}")


if __name__ == "__main__":
    main()
