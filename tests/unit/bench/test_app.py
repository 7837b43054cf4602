"""The bench without a browser: what it answers, whom it refuses, and that nothing leaves the dockets."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.bench.app import create_app
from romassay.bench.desk import Desk
from romassay.bench.guard import Guard
from romassay.bench.serve import serve
from romassay.bench.views import AGREED, DIFFERING, ONCE, UNSEEN
from romassay.errors import BadValue

HOST = "127.0.0.1:8530"
ORIGIN = f"http://{HOST}"


class Bench:
    """Asks the application as a browser on its own page would."""

    def __init__(self, folder: Path, token: str | None = None) -> None:
        self.folder = folder
        self.app = create_app(Desk.of(folder, ()), frozenset({HOST}), token)

    def ask(self, method: str, path: str, *, headers: Mapping[str, str] | None = None, **rest: Any) -> httpx.Response:
        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=ORIGIN) as client:
                own = {"origin": ORIGIN} if method == "POST" else {}
                return await client.request(method, path, headers={**own, **(headers or {})}, **rest)

        return asyncio.run(asked())

    def get(self, path: str, **rest: Any) -> httpx.Response:
        return self.ask("GET", path, **rest)

    def post(self, path: str, body: Any, **rest: Any) -> httpx.Response:
        return self.ask("POST", path, json=body, **rest)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the demo left its logs and its docket, `fog`."""
    folder = tmp_path_factory.mktemp("bench")
    done = subprocess.run(
        [sys.executable, "-m", "romassay", "demo", "-o", "fog"], cwd=folder, capture_output=True, check=False
    )
    assert done.returncode == 0
    return folder


@pytest.fixture
def bench(made: Path, tmp_path: Path) -> Bench:
    shutil.copytree(made, tmp_path / "desk")
    return Bench(tmp_path / "desk")


@pytest.fixture(scope="module")
def shared(made: Path) -> Bench:
    """A bench that the test only asks."""
    return Bench(made)


def logs(folder: Path) -> list[dict[str, Any]]:
    found = sorted((folder / "fog" / "readings").iterdir(), key=lambda path: ("empty" in path.name, path.name))
    return [
        {
            "name": path.name,
            "content": base64.b64encode(path.read_bytes()).decode(),
            "role": "empty-socket" if "empty" in path.name else "specimen",
        }
        for path in found
    ]


def tree(folder: Path) -> dict[str, str]:
    return {str(p): hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


# --- what it answers ----------------------------------------------------------------------------------------------


def test_logs_become_a_docket_like_the_one_of_the_command_line(bench: Bench) -> None:
    answer = bench.post("/api/dockets/second/assay", {"files": logs(bench.folder), "part": "6530"})
    assert answer.status_code == 200
    assert answer.json()["record"]["verdict"] == "confirmed"
    second, first = bench.folder / "second", bench.folder / "fog"
    for name in ("image.bin", "image.hex", "assay.json"):
        assert (second / name).read_bytes() == (first / name).read_bytes()
    assert {item["name"] for item in bench.get("/api/dockets").json()["dockets"]} == {"fog", "second"}


def test_the_overview_says_what_the_record_says(shared: Bench) -> None:
    data = shared.get("/api/dockets/fog").json()
    assert data["headline"].startswith("CONFIRMED: 1 KiB of ROM")
    regions = [[r["first"], r["last"], r["kind"]] for r in data["record"]["regions"]]
    assert [r[:3] for r in data["regions"]] == regions
    assert {f["file"] for f in data["files"]} == {p.name for p in (shared.folder / "fog" / "readings").iterdir()}


def test_bytes_are_those_of_the_image_and_of_the_logs(shared: Bench) -> None:
    image = (shared.folder / "fog" / "image.bin").read_bytes()
    answer = shared.get("/api/dockets/fog/bytes?source=image:0&first=1000&count=48").content
    assert answer[:24] == image[1000:]
    assert set(answer[48 : 48 + 24]) <= {AGREED, ONCE}
    assert set(answer[48 + 24 :]) == {UNSEEN}
    first = shared.get("/api/dockets/fog").json()["record"]["functions"][0]["image"]["first"]
    answer = shared.get(f"/api/dockets/fog/bytes?source=all&first={first}&count=1024").content
    state = answer[1024:]
    agreed = [i for i in range(1024) if state[i] == AGREED]
    assert len(agreed) > 900
    assert all(answer[i] == image[i] for i in agreed)
    assert set(state) <= {ONCE, AGREED, DIFFERING}
    one = shared.get(f"/api/dockets/fog/bytes?source=reading:1&first={first}&count=1024").content
    assert sum(a != b for a, b in zip(one[:1024], image, strict=True)) < 64


def test_everything_seen_of_a_byte_is_listed(shared: Bench) -> None:
    data = shared.get("/api/dockets/fog").json()["record"]["functions"][0]
    righted = shared.get("/api/dockets/fog").json()["record"]["functions"][0]["righted"][0]
    found = shared.get(f"/api/dockets/fog/observations?image=0&offset={righted}").json()
    assert {o["address"] for o in found["observations"]} <= {c["first"] + righted for c in data["copies"]}
    values = [o["value"] for o in found["observations"]]
    assert values.count(found["value"]) > len(values) / 2
    assert len(set(values)) > 1


def test_lines_are_marked_with_what_became_of_them(shared: Bench) -> None:
    answer = shared.get("/api/dockets/fog/lines?file=fog-pass-1.log&first=1&count=2000").json()
    text = (shared.folder / "fog" / "readings" / "fog-pass-1.log").read_text("latin-1").splitlines()
    assert [line[1] for line in answer["lines"]][3:40] == text[3:40]
    marks = [line[2] for line in answer["lines"]]
    assert marks[0] == "left"
    assert marks.count("taken") > 1900
    assert all(line[3] for line in answer["lines"] if line[2] == "damaged")


def test_a_decision_is_kept_with_its_reason_and_taken_back(bench: Bench) -> None:
    before = (bench.folder / "fog" / "image.bin").read_bytes()
    readings = tree(bench.folder / "fog" / "readings")
    answer = bench.post("/api/dockets/fog/decisions", {"function": 0, "offset": 5, "value": 0x12, "reason": "by eye"})
    assert answer.json()["record"]["verdict"] == "provisional"
    assert answer.json()["decisions"] == [{"function": 0, "offset": 5, "value": 0x12, "reason": "by eye"}]
    assert (bench.folder / "fog" / "image.bin").read_bytes()[5] == 0x12
    assert tree(bench.folder / "fog" / "readings") == readings
    answer = bench.post("/api/dockets/fog/decisions", {"function": 0, "offset": 5})
    assert answer.json()["record"]["verdict"] == "confirmed"
    assert (bench.folder / "fog" / "image.bin").read_bytes() == before
    assert [e["did"].split()[0] for e in answer.json()["history"]][-2:] == ["decided", "took"]


@pytest.mark.parametrize(
    "choice",
    [
        {"function": 0, "offset": 5, "value": 1, "reason": " "},
        {"function": 0, "offset": 5000, "value": 1, "reason": "x"},
        {"function": 9, "offset": 5, "value": 1, "reason": "x"},
        {"function": 0, "offset": 5, "value": 256, "reason": "x"},
        {"function": 0, "offset": -1, "value": 1, "reason": "x"},
        {"function": 0, "offset": 5},
        {"function": "0", "offset": 5, "value": 1},
    ],
)
def test_a_decision_that_cannot_be_meant_changes_nothing(bench: Bench, choice: dict[str, Any]) -> None:
    before = tree(bench.folder)
    answer = bench.post("/api/dockets/fog/decisions", choice)
    assert answer.status_code in (400, 422)
    assert answer.json()["error"]
    assert tree(bench.folder) == before


def test_a_layout_can_be_corrected_and_a_wrong_one_is_refused(bench: Bench) -> None:
    file = bench.get("/api/dockets/fog").json()["files"][1]
    good = bench.post("/api/dockets/fog/assay", {"corrections": [{"file": file["file"], "layout": file["layout"]}]})
    assert good.json()["files"][1]["said"] == file["layout"]
    before = tree(bench.folder)
    bad = bench.post("/api/dockets/fog/assay", {"corrections": [{"file": file["file"], "layout": "cells=banana"}]})
    assert bad.status_code == 422
    assert "cells" in bad.json()["error"]
    assert tree(bench.folder) == before


@pytest.mark.parametrize("file", ["image.bin", "image.hex", "assay.json", "report.html"])
def test_results_can_be_saved(shared: Bench, file: str) -> None:
    answer = shared.get(f"/api/dockets/fog/files/{file}")
    assert answer.headers["content-disposition"] == f'attachment; filename="fog-{file}"'
    if file != "report.html":
        assert answer.content == (shared.folder / "fog" / file).read_bytes()
    else:
        assert b"CONFIRMED" in answer.content


def test_a_file_that_is_no_dump_is_refused_and_leaves_no_docket(bench: Bench) -> None:
    file = {"name": "letter.txt", "content": base64.b64encode(b"Dear friend,\nnothing here.\n").decode()}
    answer = bench.post("/api/dockets/letter/assay", {"files": [file]})
    assert answer.status_code == 422
    assert "letter.txt" in answer.json()["error"]
    assert not (bench.folder / "letter").exists()


# --- whom it refuses ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8530", ""])
def test_another_name_for_the_machine_is_refused(shared: Bench, host: str) -> None:
    assert shared.get("/api/dockets", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:8531", "https://evil.example:8530"]
)
def test_another_page_may_not_ask(bench: Bench, origin: str) -> None:
    before = tree(bench.folder)
    choice = {"function": 0, "offset": 5, "value": 1, "reason": "x"}
    assert bench.post("/api/dockets/fog/decisions", choice, headers={"origin": origin}).status_code == 403
    assert bench.get("/api/dockets/fog", headers={"origin": origin}).status_code == 403
    assert tree(bench.folder) == before


def test_a_change_without_an_origin_is_refused(bench: Bench) -> None:
    answer = bench.ask("POST", "/api/dockets/fog/decisions", headers={"origin": ""}, content=b"{}")
    assert answer.status_code == 403
    cross = bench.post("/api/dockets/fog/decisions", {}, headers={"sec-fetch-site": "cross-site"})
    assert cross.status_code == 403


def test_beyond_the_machine_a_token_is_needed(made: Path) -> None:
    bench = Bench(made, "open-sesame")
    assert bench.get("/").status_code == 401
    assert bench.get("/?token=guess").status_code == 401
    assert bench.get("/api/dockets", headers={"cookie": "romassay-bench=guess"}).status_code == 401
    entered = bench.get("/?token=open-sesame")
    assert entered.status_code == 200
    cookie = entered.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert bench.get("/api/dockets", headers={"cookie": cookie.split(";")[0]}).status_code == 200


def test_every_answer_forbids_what_the_page_does_not_need(shared: Bench) -> None:
    for path in ("/", "/docket/fog", "/api/dockets/fog", "/static/map.js", "/nowhere", "/api/dockets/none"):
        answer = shared.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
    page = shared.get("/docket/fog").text + shared.get("/").text
    assert "<script>" not in page
    assert "style=" not in page


ATTACKS = [
    "/static/../app.py",
    "/static/..%2fapp.py",
    "/static/%2e%2e/app.py",
    "/static/app.py",
    "/docket/%2e%2e%2f%2e%2e%2fetc",
    "/api/dockets/..",
    "/api/dockets/%2e%2e%2ffog",
    "/api/dockets/fog/files/..%2fdocket.json",
    "/api/dockets/fog/files/docket.json",
    "/api/dockets/fog/files/%00",
    "/api/dockets/fog/lines?file=../docket.json",
    "/api/dockets/fog/lines?file=/etc/passwd",
    "/api/dockets/fog/lines?file=fog-pass-1.log&first=0",
    "/api/dockets/fog/lines?file=fog-pass-1.log&count=99999999",
    "/api/dockets/fog/bytes?count=-1",
    "/api/dockets/fog/bytes?count=999999999",
    "/api/dockets/fog/bytes?source=reading:99",
    "/api/dockets/fog/bytes?source=image:-1",
    "/api/dockets/fog/bytes?source=__class__",
    "/api/dockets/fog/bytes?first=1e9",
    "/api/dockets/fog/bytes?first=99999999999999999999",
    "/api/dockets/fog/observations?image=x",
    "/api/dockets/fog/observations?offset=-1",
    "/api/dockets/fog/observations?offset=99999",
]


@pytest.mark.parametrize("path", ATTACKS)
def test_places_outside_are_not_reached(shared: Bench, path: str) -> None:
    answer = shared.get(path)
    assert 400 <= answer.status_code < 500
    assert b"root:" not in answer.content
    assert b"import " not in answer.content


@pytest.mark.parametrize("name", ["../x", "a/b", ".hidden", "", "nul", "x" * 200, "a\\b", "a\nb", "~", "fog/readings"])
def test_a_new_docket_has_a_plain_name_in_the_folder(bench: Bench, name: str) -> None:
    before = tree(bench.folder.parent)
    body = {"files": logs(bench.folder)[:1]}
    answer = bench.post(f"/api/dockets/{quote(name, safe='')}/assay", body)
    made = set(tree(bench.folder.parent)) - set(before)
    if answer.status_code == 200:
        assert all(Path(p).is_relative_to(bench.folder / name) for p in made)
    else:
        assert answer.status_code < 500
        assert not made


@pytest.mark.parametrize(
    ("place", "body"),
    [
        ("fog/assay", {"part": "/etc/passwd"}),
        ("fog/assay", {"part": "../../secret.toml"}),
        ("fog/capture", {"port": "/dev/null", "host": "/etc/passwd", "window": ["0-1"]}),
        ("fog/capture", {"port": "/dev/null", "host": "monitor-300-baud", "window": ["0-1"], "part": "/etc/passwd"}),
        ("fog/capture", {"port": "/dev/null", "host": "monitor-300-baud", "window": ["nowhere"]}),
        ("fog/capture", {"port": "/dev/null", "host": "monitor-300-baud", "window": []}),
        ("none/capture/stop", {}),
    ],
)
def test_a_page_names_no_files_of_the_machine(bench: Bench, place: str, body: dict[str, Any]) -> None:
    before = tree(bench.folder)
    answer = bench.post(f"/api/dockets/{place}", body)
    assert 400 <= answer.status_code < 500
    assert "root:" not in answer.text
    assert tree(bench.folder) == before


bodies = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["files", "part", "size", "function", "offset", "value", "name", "content", "role", "x"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)


@given(body=bodies, place=st.sampled_from(["fog/assay", "fog/decisions", "new/assay", "none/decisions"]))
@settings(max_examples=60)
def test_whatever_is_sent_is_answered_and_never_with_a_fault(shared: Bench, body: Any, place: str) -> None:
    answer = shared.post(f"/api/dockets/{place}", body)
    assert answer.status_code < 500


@given(st.binary(max_size=200))
@settings(max_examples=30)
def test_bytes_that_are_no_request_are_refused(shared: Bench, body: bytes) -> None:
    for place in ("fog/assay", "fog/decisions"):
        answer = shared.ask("POST", f"/api/dockets/{place}", content=body)
        assert 400 <= answer.status_code < 500


def test_more_than_a_request_may_bring_is_refused_also_when_it_lies(made: Path) -> None:
    inner = create_app(Desk.of(made, ()), frozenset({HOST}))
    assert isinstance(inner, Guard)
    small = Bench(made)
    small.app = Guard(inner.app, inner.hosts, None, largest=1000)

    async def pieces() -> Any:
        for _ in range(20):
            yield b"x" * 100

    assert small.ask("POST", "/api/dockets/fog/assay", content=b"x" * 2000).status_code == 413
    assert small.ask("POST", "/api/dockets/fog/assay", content=pieces()).status_code == 413


def test_a_port_that_is_taken_is_said_in_one_line(tmp_path: Path) -> None:
    import socket

    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(BadValue, match=r"cannot listen on 127\.0\.0\.1"):
            serve(tmp_path, (), "127.0.0.1", other.getsockname()[1], lambda _: None)
