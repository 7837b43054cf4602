"""The bench in a real browser (Debian's Chromium, driven by Playwright): from logs to the verdict, and to a decision.

Accessibility is judged by axe-core (Deque Systems, rules of WCAG 2.2 A and AA), which the project has no part in.
"""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import romassay
from romassay.session.assay import Request, assay_or_keep
from romassay.session.loading import Input
from tools import need

BOARD = Path(__file__).parents[1] / "board"
TABS = ("Decode", "Bytes", "Doubts", "Code", "Logs", "Findings")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo's logs and its docket, `fog`."""
    folder = tmp_path_factory.mktemp("browser")
    run = [sys.executable, "-m", "romassay", "demo", "-o", "fog"]
    assert subprocess.run(run, cwd=folder, capture_output=True, check=False).returncode == 0
    return folder


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    run = [
        sys.executable,
        "-m",
        "romassay",
        "bench",
        "--port",
        "0",
        "--no-open",
        "--host-file",
        str(BOARD / "host.toml"),
    ]
    with subprocess.Popen(run, cwd=folder, stdout=subprocess.PIPE, text=True) as served:
        assert served.stdout is not None
        yield served.stdout.readline().split()[-1]
        served.terminate()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    program = need("chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        made = driver.chromium.launch(executable_path=program, args=["--no-sandbox"] if os.geteuid() == 0 else [])
        yield made
        made.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page of 1280 by 720 on which nothing goes wrong unnoticed."""
    context = browser.new_context(viewport={"width": 1280, "height": 720}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(30_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("dialog", lambda dialog: faults.append(dialog.message))
    yield page
    context.close()
    assert faults == []


def opened(page: Any, address: str, name: str) -> None:
    page.goto(f"{address}docket/{name}")
    page.wait_for_selector("#tab-Decode")


def cursor_says(page: Any, words: str) -> None:
    page.wait_for_function("words => document.querySelector('#cursor').textContent.includes(words)", arg=words)


def drop(page: Any, files: list[tuple[str, str]]) -> None:
    """Drop files onto the page as a file manager does."""
    page.evaluate(
        """files => {
            const carried = new DataTransfer();
            for (const [name, text] of files) carried.items.add(new File([text], name));
            for (const kind of ["dragenter", "dragover", "drop"])
                document.body.dispatchEvent(
                    new DragEvent(kind, { dataTransfer: carried, bubbles: true, cancelable: true }));
        }""",
        [list(file) for file in files],
    )


def test_from_dropped_logs_to_the_verdict_and_the_image(page: Any, address: str, folder: Path) -> None:
    page.goto(address)
    logs = [(p.name, p.read_text("latin-1")) for p in sorted((folder / "fog" / "readings").iterdir())]
    page.fill("input[name=name]", "dropped")
    page.wait_for_selector("option[value='6530']", state="attached")
    page.select_option("select[name=part]", "6530")
    drop(page, logs)
    assert page.locator("#chosen tbody tr").count() == 4
    page.click("text=Find the ROM")
    page.wait_for_url("**/docket/dropped")
    page.wait_for_selector(".word.confirmed")
    assert "1 KiB of ROM at 5400" in page.inner_text("#verdict")
    with page.expect_download() as download:
        page.click("text=Save image.bin")
    assert Path(download.value.path()).read_bytes() == (folder / "fog" / "image.bin").read_bytes()


def test_a_bus_line_is_toggled_and_the_copy_that_answers_is_said(page: Any, address: str) -> None:
    opened(page, address, "fog")
    cursor_says(page, "5400: ROM, its first place")
    page.click("#lines [data-line='13']")
    page.wait_for_function(
        "() => document.querySelector('#cursor').textContent.startsWith('7400: ROM, mirror at 7400')"
    )
    page.click("#lines [data-line='10']")
    cursor_says(page, "7000: floating bus")
    assert page.get_attribute("#lines [data-line='10']", "aria-pressed") == "false"


def test_the_map_is_walked_with_the_keyboard_alone(page: Any, address: str) -> None:
    opened(page, address, "fog")
    page.focus("#map")
    page.keyboard.press("n")
    cursor_says(page, "5800: floating bus")
    page.keyboard.press("p")
    cursor_says(page, "5400: ROM")
    for _ in range(7):
        page.keyboard.press("+")
    assert page.inner_text("#scale") == "16 addresses a row"
    for key in ("ArrowRight", "Shift+ArrowRight", "Shift+ArrowDown"):
        page.keyboard.press(key)
    page.wait_for_function(
        "() => document.querySelector('#cursor').textContent.includes('18 bytes selected, 5401-5412')"
    )
    page.keyboard.press("Enter")
    page.wait_for_selector("#panel .hex")
    assert page.inner_text("#panel .hex").startswith("5401  A2 FF 9A")
    assert page.evaluate("document.activeElement.id") == "panel"


def test_a_byte_is_decided_with_a_reason_and_the_decision_taken_back(page: Any, address: str) -> None:
    opened(page, address, "fog")
    page.click("#tab-Doubts")
    page.locator("#panel .list button").first.click()
    page.wait_for_selector("#panel input[name=reason]")
    assert page.locator("#panel table tbody tr").count() >= 2
    page.fill("#panel input[name=value]", "5A")
    page.fill("#panel input[name=reason]", "seen under a microscope <b>")
    page.click("text=Keep this decision")
    page.wait_for_selector(".word.provisional")
    assert "seen under a microscope <b>" in page.inner_text("#panel")
    page.click("text=Take back")
    page.wait_for_selector(".word.confirmed")


def test_sources_are_compared(page: Any, address: str) -> None:
    opened(page, address, "fog")
    page.click("#tab-Bytes")
    page.get_by_label("Against").select_option("reading:1")
    page.get_by_label("its address or offset").fill("5400")
    page.keyboard.press("Tab")
    page.wait_for_selector("#panel strong:has-text('differ')")
    assert page.locator("#panel .hex .other").count() >= 1


def test_the_code_is_listed(page: Any, address: str) -> None:
    opened(page, address, "fog")
    page.click("#tab-Code")
    page.wait_for_selector("#panel .hex:has-text('6502')")
    assert "6502 code" in page.inner_text("#panel")
    page.wait_for_function("() => document.querySelector('img.strip').naturalWidth > 100")


@pytest.mark.parametrize("tab", ["Decode", "Bytes", "Code", "Logs"])
def test_nothing_is_cut_off_on_a_narrow_screen(page: Any, address: str, tab: str) -> None:
    page.set_viewport_size({"width": 400, "height": 850})
    opened(page, address, "fog")
    page.click(f"#tab-{tab}")
    page.wait_for_function("() => document.querySelector('#panel').textContent.length > 100")
    ends = "e => e.map(each => each.getBoundingClientRect().right)"
    assert max(page.locator("#map, #panel, [role=tab]").evaluate_all(ends)) <= 400


def test_the_lines_of_a_log_are_marked(page: Any, address: str) -> None:
    opened(page, address, "fog")
    page.click("#tab-Logs")
    page.wait_for_selector(".log .taken")
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight"), "the panel scrolls, not the page"
    page.set_viewport_size({"width": 820, "height": 1180})
    page.wait_for_selector(".log .left-out")
    tallest = page.evaluate("Math.max(...[...document.querySelectorAll('.log .no')].map(e => e.offsetHeight))")
    assert tallest < 100
    page.get_by_label("only what was not taken").check()
    page.wait_for_selector(".log .damaged .why")
    assert page.locator(".log .taken").count() == 0


@contextlib.contextmanager
def board() -> Iterator[str]:
    """Run a board with a monitor; gives the address of its line, and ends it whatever happens."""
    run = [sys.executable, str(BOARD / "board.py"), "--tcp", "--again", "--baud", "19200", "--corrupt", "0.002"]
    environment = {**os.environ, "PYTHONPATH": str(Path(romassay.__file__).parents[1])}
    with subprocess.Popen(run, stdout=subprocess.PIPE, text=True, env=environment) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().strip()
        finally:
            process.kill()


def test_a_host_is_read_while_the_map_grows(page: Any, address: str) -> None:
    page.goto(address)
    page.click("summary")
    form = page.locator("#host-form")
    with board() as line:
        form.locator("input[name=name]").fill("live")
        form.locator("select[name=part]").select_option("6530")
        form.locator("input[name=port]").fill(line)
        page.wait_for_selector("#host-form option[value=host]", state="attached")
        form.locator("select[name=host]").select_option("host")
        form.locator("input[name=window]").fill("0xD000-0xD7FF")
        form.locator("button.main").click()
        page.wait_for_url("**/docket/live")
        page.wait_for_function("() => romassayMap.regions.some(region => region[2] === 'once')", timeout=60_000)
        page.click("text=Stop reading")
        page.click("text=Go on reading")
        page.wait_for_selector(".word.confirmed", timeout=120_000)
    assert "1 KiB of ROM at D000" in page.inner_text("#verdict")
    assert page.is_hidden("#live")


def test_what_a_log_holds_never_runs(page: Any, address: str) -> None:
    page.goto(address)
    page.fill("input[name=name]", "hostile")
    data = random.Random(8).randbytes(4096)
    lines = [f"{0x8000 + i:04X}: {data[i : i + 16].hex(' ')}" for i in range(0, len(data), 16)]
    lines.insert(5, "<img src=x onerror=alert(1)><script>alert(2)</script>\x1b]0;x\x07")
    drop(page, [("<b>&\"'.log", "\n".join(lines))])
    page.click("text=Find the ROM")
    page.wait_for_url("**/docket/hostile")
    page.wait_for_selector("#tab-Logs")
    page.click("#tab-Logs")
    page.wait_for_selector("text=<img src=x onerror=alert(1)>")
    assert page.locator("#panel img, #panel script, #panel b").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(browser: Any, address: str, scheme: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    context = browser.new_context(viewport={"width": 1280, "height": 720}, color_scheme=scheme)
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("#dockets a")
    found = {"desk": Axe().run(page).response["violations"]}
    opened(page, address, "fog")
    for tab in TABS:
        page.click(f"#tab-{tab}")
        if tab == "Doubts":
            page.locator("#panel .list button").first.click()
            page.wait_for_selector("#panel input[name=reason]")
        page.wait_for_timeout(300)
        found[tab] = Axe().run(page).response["violations"]
    context.close()
    assert {place: [v["id"] for v in violations] for place, violations in found.items()} == {p: [] for p in found}


def test_a_docket_that_waits_for_its_specimen_says_so_and_takes_readings(
    browser: Any, address: str, folder: Path
) -> None:
    empty = next(folder.glob("**/fog-empty-socket.log"))
    assay_or_keep(Request((Input(empty, "empty-socket"),), docket=folder / "waiting"))
    page = browser.new_page()
    page.goto(f"{address}docket/waiting")
    page.locator("#verdict", has_text="Nothing is found yet.").wait_for()
    page.get_by_role("button", name="Read a host").click()
    assert page.locator("#host select[name=role] option").all_inner_texts()[1] == "the empty socket"
    page.locator("#host-cancel").click()
    page.get_by_role("button", name="Add readings").click()
    page.set_input_files("#pick", [str(path) for path in sorted(folder.glob("fog-logs/fog-pass-*.log"))])
    page.get_by_role("button", name="Add", exact=True).click()
    page.locator("#verdict", has_text="1 KiB of ROM").wait_for()
    page.close()
