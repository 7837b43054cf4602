"""The bench as an ASGI application: addresses to use cases, errors of ours to one line, nothing decided here."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request as HttpRequest
from starlette.responses import Response
from starlette.routing import Route

from romassay.address import parse_range
from romassay.bench import views
from romassay.bench.desk import Desk, UnknownDocketError
from romassay.bench.guard import App, Guard, TooMuchError
from romassay.bench.live import Captures
from romassay.docket.folder import reading_path
from romassay.docket.manifest import Decided, Said, Span
from romassay.docket.record import result_files
from romassay.errors import BadInput, BadValue, RomassayError
from romassay.formats.contents import content_of
from romassay.reading import Role
from romassay.rig import Host, Serial
from romassay.session.assay import Derived, Request
from romassay.session.capture import capture, resume
from romassay.session.loading import Input
from romassay.session.order import Order as CaptureOrder
from romassay.session.order import dialogue_of, order_of_plan
from romassay.version import VERSION

T = TypeVar("T")

_KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".html": "text/html"}


class Sent(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A log dropped onto the page: its name, its content in base 64, and what was in the socket."""

    name: str
    content: bytes
    role: Role = "specimen"
    session: str | None = None


class Correction(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a person says about a file that is in the docket."""

    file: str
    layout: str | None = None
    session: str | None = None


class Order(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is to be assayed: new files, corrections, and settings; absent settings stay as they are."""

    files: tuple[Sent, ...] = ()
    corrections: tuple[Correction, ...] = ()
    part: str | msgspec.UnsetType | None = msgspec.UNSET
    size: int | msgspec.UnsetType | None = msgspec.UNSET
    exclude: tuple[Span, ...] | msgspec.UnsetType = msgspec.UNSET


class Choice(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A byte that a person decides; without a value the decision is taken back."""

    function: int
    offset: int
    value: int | None = None
    reason: str = ""


class Wanted(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is to be captured: the line, the host, ranges as on the command line, how often, and of what."""

    port: str
    host: str
    window: tuple[str, ...]
    passes: int = 2
    part: str | None = None
    session: str | None = None
    role: Role = "specimen"

    def __post_init__(self) -> None:
        if not 1 <= self.passes <= 32 or not self.window:
            raise ValueError("a capture has 1 to 32 passes and a window")


def create_app(desk: Desk, hosts: frozenset[str], token: str | None = None) -> App:
    """Return the bench for some dockets, to be served under the given names (with port) and no other."""
    bench = _Bench(desk)
    routes = [
        Route("/", bench.page("desk.html")),
        Route("/docket/{name}", bench.page("docket.html")),
        Route("/static/{file}", bench.static),
        Route("/api/dockets", bench.answering(bench.dockets)),
        Route("/api/dockets/{name}", bench.answering(bench.overview)),
        Route("/api/dockets/{name}/assay", bench.answering(bench.assay), methods=["POST"]),
        Route("/api/dockets/{name}/decisions", bench.answering(bench.decide), methods=["POST"]),
        Route("/api/dockets/{name}/capture", bench.answering(bench.capture), methods=["GET", "POST"]),
        Route("/api/dockets/{name}/capture/resume", bench.answering(bench.resume), methods=["POST"]),
        Route("/api/dockets/{name}/capture/stop", bench.answering(bench.stop), methods=["POST"]),
        Route("/api/dockets/{name}/bytes", bench.answering(bench.bytes)),
        Route("/api/dockets/{name}/observations", bench.answering(bench.observations)),
        Route("/api/dockets/{name}/code", bench.answering(bench.code)),
        Route("/api/dockets/{name}/lines", bench.answering(bench.lines)),
        Route("/api/dockets/{name}/files/{file}", bench.answering(bench.file)),
    ]
    return Guard(Starlette(routes=routes), hosts, token)


def _json(value: Any, status: int = 200) -> Response:
    return Response(msgspec.json.encode(value), status, media_type="application/json")


class _Bench:
    """The answers to each address."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.captures = Captures()
        self._seen: tuple[Derived, views.Seen] | None = None

    def answering(
        self, answer: Callable[[HttpRequest], Awaitable[Response]]
    ) -> Callable[[HttpRequest], Awaitable[Response]]:
        """Wrap an answer so that an error of ours becomes one line for the person."""

        async def answered(request: HttpRequest) -> Response:
            try:
                return await answer(request)
            except UnknownDocketError:
                return _json({"error": "there is no such docket on the bench"}, 404)
            except (RomassayError, BadInput, BadValue) as e:
                return _json({"error": str(e)}, 422)
            except msgspec.ValidationError as e:
                return _json({"error": f"the request is not understood: {e}"}, 400)
            except (msgspec.DecodeError, ValueError):
                return _json({"error": "the request is not understood"}, 400)
            except TooMuchError:
                return _json({"error": "the request is too large"}, 413)

        return answered

    def page(self, name: str) -> Callable[[HttpRequest], Awaitable[Response]]:
        """Return what answers with a page."""

        async def shown(request: HttpRequest) -> Response:
            docket = request.path_params.get("name")
            if docket is not None and docket not in self.desk.names() and not self.captures.of(docket):
                return Response("there is no such docket on the bench\n", 404, media_type="text/plain")
            text = (files("romassay.bench") / "templates" / name).read_text("utf-8")
            return Response(text.replace("{{version}}", VERSION), media_type="text/html")

        return shown

    async def static(self, request: HttpRequest) -> Response:
        """Answer with one of the page's own files."""
        name = request.path_params["file"]
        known = {item.name: item for item in (files("romassay.bench") / "static").iterdir()}
        kind = _KINDS.get(Path(name).suffix)
        if name not in known or kind is None:
            return Response("there is no such file\n", 404, media_type="text/plain")
        return Response(known[name].read_bytes(), media_type=kind)

    async def dockets(self, _: HttpRequest) -> Response:
        """List the dockets on the bench."""
        lying = await run_in_threadpool(self.desk.lying)
        dockets = [{"name": name, "did": did} for name, did in lying]
        return _json(
            {"folder": str(self.desk.folder), "dockets": dockets, "parts": _parts(), "hosts": list(self.desk.hosts)}
        )

    async def overview(self, request: HttpRequest) -> Response:
        """Say everything about a docket but its bytes and lines."""
        name = request.path_params["name"]
        return _json(views.overview(name, await run_in_threadpool(self.desk.look, name)))

    async def assay(self, request: HttpRequest) -> Response:
        """Add files and what is said, and say what the docket says then."""
        name = request.path_params["name"]
        order = msgspec.json.decode(await request.body(), type=Order)
        if not order.files and name not in self.desk.names():
            raise UnknownDocketError(name)
        place = self.desk.place(name, new=True)
        inputs = tuple(_input(item) for item in order.files)
        if order.corrections:
            inputs += tuple(_correction(place, item, self.desk.look(name)) for item in order.corrections)
        named = ("part", "size", "exclude")
        said = {key: getattr(order, key) for key in named if getattr(order, key) is not msgspec.UNSET}
        if said.get("part"):
            _part(said["part"])
        wanted = Request(inputs=inputs, settings=said, command="romassay bench")
        return _json(views.overview(name, await run_in_threadpool(self.desk.assay, name, wanted)))

    async def decide(self, request: HttpRequest) -> Response:
        """Keep a person's decision on a byte, or take it back."""
        name = request.path_params["name"]
        choice = msgspec.json.decode(await request.body(), type=Choice)
        decided = Decided(choice.function, choice.offset, choice.value or 0, choice.reason)
        back = choice.value is None
        found = await run_in_threadpool(lambda: self.desk.decide(name, decided, back=back))
        return _json(views.overview(name, found))

    async def capture(self, request: HttpRequest) -> Response:
        """Begin a capture, or say how it goes."""
        name = request.path_params["name"]
        if request.method == "POST":
            wanted = msgspec.json.decode(await request.body(), type=Wanted)
            order = _order(wanted, self.desk.place(name, new=True), self.desk.hosts)
            live = self.captures.begin(name, lambda watch: capture(order, watch=watch))
        else:
            found = self.captures.of(name)
            if found is None:
                return _json({"running": False, "line": "", "error": "", "unfinished": False, "runs": []})
            live = found
        return _json(live.said())

    async def resume(self, request: HttpRequest) -> Response:
        """Go on with a capture that was stopped or broke off."""
        name = request.path_params["name"]
        place = self.desk.place(name)
        live = self.captures.begin(
            name, lambda watch: resume(lambda plan: order_of_plan(plan, place), place, watch=watch)
        )
        return _json(live.said())

    async def stop(self, request: HttpRequest) -> Response:
        """Stop a capture; what came in stays."""
        live = self.captures.of(request.path_params["name"])
        if live is None:
            raise UnknownDocketError(request.path_params["name"])
        live.stop()
        return _json(live.said())

    async def bytes(self, request: HttpRequest) -> Response:
        """Give values and states of a range."""
        found = await run_in_threadpool(self.desk.look, request.path_params["name"])
        asked = request.query_params
        first, count = int(asked.get("first", "0")), int(asked.get("count", "256"))
        source = asked.get("source", "all")
        content = await run_in_threadpool(lambda: views.bytes_at(found, self._laid(found), source, first, count))
        return Response(content, media_type="application/octet-stream")

    def _laid(self, found: Derived) -> views.Seen:
        """Return the readings of a docket laid over each other; those of the last one asked for are kept."""
        kept = self._seen
        if kept is None or kept[0] is not found:
            kept = self._seen = (found, views.seen_of(found))
        return kept[1]

    async def observations(self, request: HttpRequest) -> Response:
        """Give all that was seen of one byte."""
        found = await run_in_threadpool(self.desk.look, request.path_params["name"])
        asked = request.query_params
        number, offset = int(asked.get("image", "0")), int(asked.get("offset", "0"))
        return _json(await run_in_threadpool(views.observations, found, number, offset))

    async def code(self, request: HttpRequest) -> Response:
        """Say what an image's code says, with a listing."""
        name = request.path_params["name"]
        found = await run_in_threadpool(self.desk.look, name)
        number = int(request.query_params.get("image", "0"))
        return _json(await run_in_threadpool(views.code_view, found, name, number))

    async def lines(self, request: HttpRequest) -> Response:
        """Give lines of a file, each with what became of it."""
        name, asked = request.path_params["name"], request.query_params
        found = await run_in_threadpool(self.desk.look, name)
        file = asked.get("file", "")
        if file not in {entry.file for entry in found.manifest.readings}:
            return _json({"error": "there is no such file in the docket"}, 404)
        place = reading_path(self.desk.place(name), file)
        first, count = int(asked.get("first", "1")), int(asked.get("count", "200"))
        return _json(await run_in_threadpool(lambda: views.lines_of(content_of(place).data, found, file, first, count)))

    async def file(self, request: HttpRequest) -> Response:
        """Give a result to be saved: image, record or report."""
        name, file = request.path_params["name"], request.path_params["file"]
        found = await run_in_threadpool(self.desk.look, name)
        if file == "report.html":
            from romassay.session.report import report_of

            content, _ = await run_in_threadpool(report_of, self.desk.place(name), found)
        else:
            results = {item.name: item.data for item in await run_in_threadpool(result_files, found.assay)}
            if file not in results:
                return _json({"error": "there is no such result"}, 404)
            content = results[file]
        saved = f"{name}-{file}".encode("ascii", "replace").decode().replace('"', "_").replace("?", "_")
        headers = {"content-disposition": f'attachment; filename="{saved}"'}
        return Response(content, headers=headers, media_type="application/octet-stream")


def _parts() -> list[str]:
    from romassay.catalogue import part_types

    return list(part_types())


def _part(name: str) -> str:
    """Return a part's name; BadValue for anything but a part of the catalogue: a page names no files."""
    if name not in _parts():
        raise BadValue(f"'{name}' is no part of the catalogue", advice="choose one of the list")
    return name


def _order(wanted: Wanted, place: Path, hosts: Mapping[str, Host]) -> CaptureOrder:
    if wanted.host not in hosts:
        raise BadValue(f"'{wanted.host}' is none of the hosts", advice=f"the hosts are {', '.join(hosts)}")
    host = hosts[wanted.host]
    return CaptureOrder(
        port=wanted.port,
        host=wanted.host,
        dialogue=dialogue_of(host, wanted.host),
        serial=host.serial or Serial(kind="rs-232", baud=9600),
        window=tuple(parse_range(text) for text in wanted.window),
        passes=wanted.passes,
        docket=place,
        session=wanted.session,
        role=wanted.role,
        settings={"part": _part(wanted.part)} if wanted.part else {},
        command="romassay bench",
    )


def _input(sent: Sent) -> Input:
    return Input(Path(sent.name or "unnamed"), sent.role, Said(session=sent.session), sent.content)


def _correction(place: Path, item: Correction, found: Derived) -> Input:
    entries = {entry.file: entry for entry in found.manifest.readings}
    if item.file not in entries:
        raise BadValue(f"there is no file '{item.file}' in the docket", advice="name one of its files")
    said = Said(layout=item.layout, session=item.session)
    return Input(reading_path(place, item.file), entries[item.file].role, said)
