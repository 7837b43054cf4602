"""The report page: whole, self-contained, harmless whatever a log held, and its pictures say what the assay says."""

from __future__ import annotations

import dataclasses
import zlib
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import examples
from romassay.chain import Assay
from romassay.docket.manifest import Event, Manifest
from romassay.finding import Finding
from romassay.report.agreement import agreement
from romassay.report.drawing_decode import decode_drawing, equation
from romassay.report.drawing_image import MARKS, evidence_drawing, marks_of
from romassay.report.drawing_map import WIDTH, letter_of, map_drawing, pieces, row_size, rows_of
from romassay.report.notebook import assay_html, survey_html
from romassay.report.page import About, Photo, report_page
from romassay.report.page_image import Listed
from romassay.report.words import LIMITS
from romassay.rig import Host, Rig
from romassay.survey.model import Region

SVG = "{http://www.w3.org/2000/svg}"


class Elements(HTMLParser):
    """Collects the elements of a page, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def parsed(drawing: str) -> ET.Element:
    return ET.fromstring(drawing)  # noqa: S314 - our own drawing


def page_of(assay: Assay, about: About | None = None) -> Elements:
    return Elements(report_page(assay, about or About("a specimen")))


@pytest.mark.parametrize("name", sorted(examples.ALL))
def test_the_page_loads_and_runs_nothing(name: str) -> None:
    page = page_of(examples.ALL[name]())
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attributes in page.tags:
        assert not any(key.startswith("on") for key in attributes)
        for key in ("src", "href"):
            value = attributes.get(key) or "#"
            assert value.startswith(("#", "data:image/"))
    assert any(t == "meta" and "default-src 'none'" in (a.get("content") or "") for t, a in page.tags)


@pytest.mark.parametrize("name", sorted(examples.ALL))
def test_links_within_the_page_lead_somewhere(name: str) -> None:
    page = page_of(examples.ALL[name]())
    ids = [a["id"] for _, a in page.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    assert {a["href"] for _, a in page.tags if a.get("href")} <= {f"#{i}" for i in ids}


def test_every_picture_has_words_beside_it() -> None:
    page = page_of(examples.provisional(), About("x", photos=(Photo("rig.jpg", "image/jpeg", b"\xff\xd8"),)))
    for tag, attributes in page.tags:
        if tag == "img":
            assert attributes.get("alt")
        if tag == "svg" and attributes.get("role") == "img":
            assert attributes.get("aria-label")


def test_the_page_says_what_the_assay_says() -> None:
    assay = examples.provisional()
    text = page_of(assay, About("x", Manifest(history=(Event("2001-01-01T00:00:00Z", "0.1", "typed", "done"),)))).text
    image = assay.images[0]
    for word in (
        f"{zlib.crc32(bytes(image)):08x}",
        *(LIMITS[limit] for limit in assay.limits),
        *(reading.source.sha256 for reading in assay.readings.readings),
        *(finding.advice.rstrip(".") for finding in assay.findings),
        "2001-01-01T00:00:00Z",
        "no legal advice",
        "licensed practice",
    ):
        assert word in text


def test_the_rig_is_told_pin_by_pin_where_names_differ() -> None:
    rig = Rig(Host(16, title="a host"), wiring={"CS1": "A15", "A0": "A0", "A1": "A1"}, held={"CS3": "high"})
    assay = examples.confirmed()
    text = page_of(dataclasses.replace(assay, options=dataclasses.replace(assay.options, rig=rig))).text
    for words in ("a host", "CS1 on A15; 2 pins on the host's lines of the same name", "CS3 high"):
        assert words in text


HOSTILE = "<script>alert(1)</script>\"'&<img src=x onerror=y>\x1b[31m"


def test_a_listing_stands_with_its_strip() -> None:
    page = page_of(examples.confirmed(), About("x", listings={0: Listed("start: lda #<1\n", b"<svg/>")}))
    assert "start: lda #<1" in page.text
    strips = [a["src"] for t, a in page.tags if t == "img" and a.get("class") == "strip"]
    assert strips == ["data:image/svg+xml;base64,PHN2Zy8+"]


def test_text_from_outside_stays_text() -> None:
    assay = examples.provisional()
    readings = tuple(
        dataclasses.replace(r, source=dataclasses.replace(r.source, name=HOSTILE, layout=HOSTILE))
        for r in assay.readings.readings
    )
    finding = Finding("weak-bits", True, HOSTILE, HOSTILE)
    assay = dataclasses.replace(
        assay, readings=dataclasses.replace(assay.readings, readings=readings), findings=(finding,)
    )
    about = About(HOSTILE, Manifest(history=(Event("x", "y", HOSTILE, HOSTILE),)), command=HOSTILE)
    page = page_of(assay, about)
    assert not {tag for tag, _ in page.tags} & {"script"}
    assert not any("onerror" in attributes for _, attributes in page.tags)
    assert page.text.count("alert(1)") >= 6


def test_the_same_readings_give_the_same_page() -> None:
    assert report_page(examples.confirmed(), About("x")) == report_page(examples.confirmed(), About("x"))


# --- the map ------------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(0, 5000), st.integers(1, 5000)), min_size=1, max_size=40))
@settings(max_examples=60)
def test_the_pieces_of_a_map_cover_just_the_regions(steps: list[tuple[int, int]]) -> None:
    regions, at = [], 0
    for gap, count in steps:
        regions.append(Region(at + gap, at + gap + count - 1, "open-bus"))
        at += gap + count
    per_row = row_size(regions)
    covered: set[int] = set()
    for piece in pieces(regions, per_row):
        assert 0 <= piece.start < piece.start + piece.count <= per_row
        span = range(piece.row * per_row + piece.start, piece.row * per_row + piece.start + piece.count)
        assert not covered & {span[0], span[-1]}
        covered |= set(span)
    assert covered == {a for r in regions for a in range(r.first, r.last + 1)}
    rows = rows_of(regions, per_row)
    assert rows == sorted({a // per_row for a in covered})
    assert len(rows) <= 64


def test_a_map_is_as_wide_as_its_addresses() -> None:
    assay = examples.confirmed()
    root = parsed(map_drawing(assay.survey))
    per_row = row_size(assay.survey.regions)
    shown: dict[str, float] = {}
    for mark in root.iter(f"{SVG}rect"):
        kind = mark.attrib["class"].split()[0].removeprefix("k-")
        shown[kind] = shown.get(kind, 0) + float(mark.attrib["width"]) * per_row / WIDTH
    read = {r.kind: 0 for r in assay.survey.regions}
    for r in assay.survey.regions:
        read[r.kind] += r.last - r.first + 1
    assert shown == pytest.approx(read, rel=0.01)


def test_kinds_are_told_apart_without_colour() -> None:
    survey = examples.confirmed().survey
    letters = {r.kind: letter_of(survey, r) for r in survey.regions}
    assert len(set(letters.values())) == len(letters)


def test_a_window_of_sixteen_mebibytes_stays_a_small_drawing() -> None:
    survey = dataclasses.replace(
        examples.confirmed().survey,
        address_bits=24,
        regions=tuple(Region(i * 64, i * 64 + 63, "open-bus" if i % 2 else "unknown") for i in range(1 << 18)),
    )
    assert len(map_drawing(survey)) < 2_000_000


# --- decode, evidence, agreement, bits ----------------------------------------------------------------------------


def test_the_decode_is_drawn_line_by_line() -> None:
    survey = examples.confirmed().survey
    for function in survey.functions:
        root = parsed(decode_drawing(function))
        drawn = {e.text for e in root.iter(f"{SVG}text") if e.attrib.get("class") == "line"}
        assert drawn == set(function.decode)
        bubbles = len(list(root.iter(f"{SVG}circle")))
        assert bubbles == sum(level == "0" for level in function.decode.values())
        terms = equation(function, "F").removeprefix("F = ").split(" and ")
        assert [t for t in terms if t != "always"] == [
            f"not {line}" if level == "0" else line
            for line, level in reversed(function.decode.items())
            if level in ("0", "1")
        ]


def test_the_specimens_pins_stand_at_the_ends_of_their_lines() -> None:
    function = examples.confirmed().survey.functions[0]
    line = next(line for line, level in function.decode.items() if level == "1")
    idle = next(line for line, level in function.decode.items() if level == "any")
    root = parsed(decode_drawing(function, {line: ["CS1"], idle: ["CS2", "CS3"]}))
    drawn = {e.text for e in root.iter(f"{SVG}text") if e.attrib.get("class") == "pin"}
    assert drawn == {"CS1", "CS2, CS3"}


def test_each_byte_is_marked_once_by_what_weighs_most() -> None:
    image = examples.provisional().images[0]
    marked = marks_of(image)
    every = [offset for offsets in marked.values() for offset in offsets]
    assert len(every) == len(set(every))
    assert set(marked["doubt"]) == {d.offset for d in image.doubtful} - set(marked["unseen"])
    titles = [e.text or "" for e in parsed(evidence_drawing(image)).iter(f"{SVG}title")]
    for kind, offsets in marked.items():
        assert sum(MARKS[kind] in t for t in titles) == len(offsets)


@pytest.mark.parametrize("name", ["confirmed", "provisional"])
def test_agreement_counts_what_a_plain_loop_counts(name: str) -> None:
    assay = examples.ALL[name]()
    image = assay.images[0]
    table = agreement(assay, image)
    data, mask = bytes(image), assay.survey.functions[image.function].driven
    for row, reading in enumerate(table.readings):
        seen = dict.fromkeys(table.copies, 0)
        wrong = dict.fromkeys(table.copies, 0)
        for address, value, known in zip(
            reading.addresses().tolist(), reading.value.tolist(), reading.known_bits().tolist(), strict=True
        ):
            for first in table.copies:
                if first <= address < first + len(data):
                    bits = known & mask & int(image.seen[address - first])
                    seen[first] += bits != 0
                    wrong[first] += (value ^ data[address - first]) & bits != 0
        assert table.seen[row].tolist() == list(seen.values())
        assert table.differing[row].tolist() == list(wrong.values())


def test_a_notebook_gets_a_frame_that_runs_nothing() -> None:
    assay = examples.confirmed()
    for piece in (assay_html(assay), survey_html(assay.survey)):
        tags = Elements(piece).tags
        assert [tag for tag, _ in tags] == ["iframe"]
        assert tags[0][1]["sandbox"] == ""
        assert "Address map" in (tags[0][1]["srcdoc"] or "")
