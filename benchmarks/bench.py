"""The bench in a real browser: how soon it shows something useful, and whether its map pans and zooms smoothly.

    python -m benchmarks.bench [--size 65536] [--readings 8]

Needs Debian's chromium and the test dependencies. Reference in the same run: an empty page of the same browser, panned
by the same script, which says how many frames this machine draws at best.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

FRAMES = """async seconds => {
    const canvas = document.querySelector("canvas") ?? document.body;
    let frames = 0, longest = 0, last = performance.now();
    const end = last + 1000 * seconds;
    while (performance.now() < end) {
        canvas.dispatchEvent(new WheelEvent("wheel", { deltaY: frames % 120 < 60 ? 25 : -25, cancelable: true }));
        const key = frames % 80 < 40 ? "+" : "-";
        if (frames % 40 === 20) canvas.dispatchEvent(new KeyboardEvent("keydown", { key }));
        await new Promise(requestAnimationFrame);
        const now = performance.now();
        longest = Math.max(longest, now - last);
        last = now;
        frames += 1;
    }
    return [frames / seconds, longest];
}"""


def make_docket(folder: Path, size: int, readings: int) -> None:
    """Leave a docket `big` with noisy readings of a window full of mirrors of a ROM."""
    chance = random.Random(1)
    rom = chance.randbytes(min(4096, size // 8))
    window = (rom + b"\xff" * len(rom)) * (size // (2 * len(rom)))
    files = []
    for number in range(readings):
        data = bytearray(window)
        for _ in range(size // 5000):
            data[chance.randrange(size)] ^= 1 << chance.randrange(8)
        path = folder / f"pass-{number + 1}.bin"
        path.write_bytes(bytes(data))
        files.append(str(path))
    run = [sys.executable, "-m", "romassay", "assay", *files, "--base", "0", "--format", "raw-binary"]
    subprocess.run([*run, "-o", str(folder / "big")], check=False, capture_output=True)


def measure(folder: Path) -> None:
    """Print the figures."""
    from playwright.sync_api import sync_playwright

    run = [sys.executable, "-m", "romassay", "bench", "--port", "0", "--no-open"]
    with subprocess.Popen(run, cwd=folder, stdout=subprocess.PIPE, text=True) as served, sync_playwright() as driver:
        assert served.stdout is not None  # noqa: S101 - for the type checker
        address = served.stdout.readline().split()[-1]
        arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=arguments)
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.goto("about:blank")
        best, _ = page.evaluate(FRAMES, 3)
        first, again = (_opened(page, f"{address}docket/big") for _ in range(2))
        page.focus("#map")
        frames, longest = page.evaluate(FRAMES, 5)
        print(f"useful picture: {first:.2f} s at first (the docket is derived), {again:.2f} s again")
        print(f"panning and zooming: {frames:.0f} frames a second, {frames / best:.2f} of an empty page's {best:.0f}")
        print(f"longest frame: {longest:.0f} ms")
        browser.close()
        served.terminate()


def _opened(page: Any, address: str) -> float:
    start = time.perf_counter()
    page.goto(address)
    page.wait_for_function("() => globalThis.romassayMap?.frames > 0", timeout=120_000)
    return time.perf_counter() - start


def main() -> None:
    """Take the options and measure."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--size", type=int, default=1 << 16, help="bytes of the window")
    options.add_argument("--readings", type=int, default=8)
    said = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        make_docket(Path(folder), said.size, said.readings)
        print(f"{said.size >> 10} KiB x {said.readings} readings")
        measure(Path(folder))


if __name__ == "__main__":
    main()
