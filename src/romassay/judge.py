"""The verdict: confidence and findings meet here, and nowhere else is it given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from romassay.address import Range, line_name, lines_of, merge_ranges
from romassay.code.model import Code
from romassay.cpus.model import Name
from romassay.finding import Finding, Kind, Limit, ranked
from romassay.part import Part
from romassay.reading import Bytes, ReadingSet
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.consensus import consensus
from romassay.survey.model import Function, Survey
from romassay.survey.pairs import SAME_SHARE
from romassay.survey.stack import GRANULE_LINES, stack

Verdict = Literal["confirmed", "provisional", "not-found"]

RAM_SIZES = (64, 128)
"""Bytes of the RAM in combination chips (6530, 6532: data sheets)."""

LITTLE = 2048
"""Bits of a function up to which neither its size nor its being a ROM is believed without a declared part or size."""

DOUBTED = 0.7
"""Chance that a memory which nothing tells apart is not the specimen's ROM. Common practice, no source."""

OTHERS = 0.5
"""Chance that what changes in another memory than the first ROM is weak cells. Common practice, no source."""

SELDOM = 0.003
"""Chance hits up to which an image's own check tells that it is a whole program."""

PLACELESS = ("raw-binary", "bnpf")
"""Formats without addresses."""

BLANKS = (0xFF, 0x00)
"""What unused bytes of a ROM hold. Common practice, no source."""

LARGER = 0.15
"""Chance that a ROM is larger than what it does not leave blank. Common practice, no source."""

REGIONS = 64
"""Stretches of the floating bus that are looked at."""

VECTORED: tuple[Name, ...] = ("6502", "65C02", "6800", "6801", "6809")
"""CPUs whose vectors end the address space (handbooks of the instruction sets)."""

ENOUGH = 2
"""Independent readings of every byte that a confirmed image needs."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict, with all findings ranked and what it could not lean on."""

    verdict: Verdict
    findings: tuple[Finding, ...]
    limits: tuple[Limit, ...]


def judge(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    faults: Sequence[Finding] = (),
    *,
    part: Part | None = None,
    size: int | None = None,
    codes: Sequence[Code] = (),
    rig: Rig | None = None,
) -> Judgement:
    """Give the verdict.

    It is `confirmed` where every byte of every image is settled from at least two independent readings, none doubtful
    or decided by hand, and no finding blocks it.
    """
    findings = [*faults, *_about_readings(readings, images)]
    for image in images:
        findings += _about_image(readings, found.functions[image.function], image, rig)
    findings += _about_host(readings, found, images)
    findings += _about_likeness(found, images)
    findings += _about_choice(readings, found, images, part, size, codes)
    findings += _about_place(readings, found, images)
    findings += _about_gap(readings, found, images, part, size)
    if not part and not size:
        findings += _about_rest(readings, found, images, codes)
    elif not any(fault.blocks for fault in faults):
        findings += _about_hollow(images, codes)
    first = images[0].function if images else None
    weighed = tuple(_weighed(finding, found, images) for finding in _explained(findings, faults, first))
    return Judgement(_verdict(images, weighed), ranked(weighed), _limits(readings, images, part, codes))


def _verdict(images: Sequence[Image], findings: Sequence[Finding]) -> Verdict:
    if not images:
        return "not-found"
    settled = all(is_settled(image) for image in images)
    return "confirmed" if settled and not any(f.blocks for f in findings) else "provisional"


def is_settled(image: Image) -> bool:
    """Tell whether every byte was seen in two readings, and none is in doubt or decided by a person."""
    often = int(image.readings.min(initial=ENOUGH)) >= ENOUGH
    return often and len(image) > 0 and not image.doubtful and not image.decided


MOVERS: tuple[Kind, ...] = (
    "mixed-specimens",
    "marginal-timing",
    "supply-sag",
    "data-line-open",
    "address-line-open",
    "contention",
    "address-lines-bridged",
    "latched-enable",
)
"""Faults that make bits read otherwise now and then, or make copies of what are none: where one is found, the
cells themselves are less to blame."""


def _explained(findings: Sequence[Finding], faults: Sequence[Finding], first: int | None) -> Iterator[Finding]:
    """Yield the findings; weak bits that another fault explains are given as the less likely alternative to it.

    A doubt that blocks takes the place of the same doubt that does not. Whether a memory is the specimen's is doubted
    less where a fault explains why it seems to be several. RAM whose pattern was taken for copies of one
    memory differs from copy to copy; what changes in another memory than the first ROM may be a timer, or RAM.
    """
    doubted = any(f.kind == "ram-or-rom" and f.blocks for f in findings)
    causes = [f for f in findings if f.kind in MOVERS]
    causes += [f for f in faults if f.kind == "ram-or-rom" and f.blocks]
    likeliest = max(causes, key=lambda f: f.probability, default=None)
    known = max((f for f in faults if f.blocks and f.kind != "ram-or-rom"), key=lambda f: f.probability, default=None)
    for finding in findings:
        if finding.kind == "ram-or-rom" and doubted and not finding.blocks:
            continue
        if finding.kind == "ram-or-rom" and known and known.probability >= DOUBTED and finding not in faults:
            left = round(DOUBTED * (1 - known.probability), 3)
            yield replace(finding, probability=left, alternative_to=known.kind)
        elif finding.kind == "weak-bits" and likeliest:
            left = round(max(0.01, 1 - likeliest.probability), 3)
            yield replace(finding, probability=left, alternative_to=likeliest.kind)
        elif finding.kind == "weak-bits" and finding.function != first:
            yield replace(finding, probability=OTHERS)
        else:
            yield finding


def _weighed(finding: Finding, found: Survey, images: Sequence[Image]) -> Finding:
    """Let a finding about a lesser ROM not block the verdict on the first: it answers in fewer places."""
    if finding.function is None or not finding.blocks or not images:
        return finding
    first = found.functions[images[0].function]
    other = found.functions[finding.function]
    if len(other.copies) >= len(first.copies):
        return finding
    return replace(finding, blocks=False)


def _limits(
    readings: ReadingSet, images: Sequence[Image], part: Part | None, codes: Sequence[Code]
) -> tuple[Limit, ...]:
    limits: list[Limit] = []
    if not images or images[0].confidence.sessions < 2:
        limits.append("no-power-cycle")
    if all(r.role == "specimen" for r in readings.readings):
        limits.append("no-control-reading")
    if part is None:
        limits.append("part-not-declared")
    if codes and not codes[0].checks:
        limits.append("no-own-check")
    if images and not _shows_places(readings):
        limits.append("place-not-shown")
    return tuple(limits)


def _shows_places(readings: ReadingSet) -> bool:
    """Tell whether any reading of the specimen has addresses of its own, as far as is known."""
    sources = [reading.source for reading in readings.with_role("specimen")]
    return not sources or not all(s.format in PLACELESS or "address=none" in s.layout.split() for s in sources)


def _about_place(readings: ReadingSet, found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt where an image begins, if files without addresses begin inside it: with another base it is turned round."""
    if not images or _shows_places(readings):
        return
    function = found.functions[images[0].function]
    starts = {int(reading.runs[0, 0]) for reading in readings.with_role("specimen") if len(reading.runs)}
    if all(start % function.size == 0 for start in starts):
        return
    yield Finding(
        "place-not-shown",
        blocks=True,
        function=images[0].function,
        probability=DOUBTED,
        evidence=f"the files hold no addresses, and begin at {min(starts):04X} by the base alone: that is inside a ROM "
        f"of {function.size} bytes, so that with another base another byte would be its first",
        advice="check the base; add a reading that prints its addresses, or one that begins where the ROM does",
    )


def _about_readings(readings: ReadingSet, images: Sequence[Image]) -> Iterator[Finding]:
    few = not images or images[0].confidence.readings < ENOUGH
    if readings.duplicates:
        names = ", ".join(readings.duplicates[:4])
        yield Finding(
            "duplicate-reading",
            blocks=few,
            evidence=f"equal to a file already there, but for line ends or blanks at most, so counted once: {names}",
            advice="read again, both passes into one log or with the time before each line: where nothing but the "
            "bytes is logged, nobody can tell a second reading from a copied file, and a copy proves nothing",
        )
    if readings.copied:
        yield Finding(
            "duplicate-reading",
            blocks=few,
            evidence="the same digits are spoilt as in an earlier reading and all else is the same, as where one log "
            f"is saved or shown twice, so counted once: {'; '.join(readings.copied[:4])}",
            advice="read the specimen again into a new file; a copy proves nothing",
        )
    unordered = [r.source.name for r in readings.with_role("specimen") if r.source.unordered > 1]
    if unordered:
        yield Finding(
            "byte-order",
            blocks=True,
            evidence=f"{', '.join(unordered[:4])}: it prints words, and nothing shows which byte comes first",
            advice="add a reading printed byte by byte, or say it with --layout order=big or order=little",
        )
    holes = [hole for reading in readings.with_role("specimen") for hole in reading.holes]
    if holes:
        where = merge_ranges(Range(h.first, h.last) for h in holes if h.first is not None and h.last is not None)
        missing = sum(r.size for r in where)
        thin = bool(images) and int(images[0].readings.min(initial=ENOUGH)) < ENOUGH
        yield Finding(
            "link-dropout",
            blocks=thin,
            where=where[:100],
            evidence=f"{len(holes)} lines or records came damaged or not at all; {missing} addresses are missing from "
            "one reading or another",
            advice="read again; slow the line down or shorten the cable if it goes on",
        )


def _about_image(readings: ReadingSet, function: Function, image: Image, rig: Rig | None) -> Iterator[Finding]:
    index = image.function
    if image.confidence.readings < ENOUGH:
        yield Finding(
            "single-reading",
            blocks=True,
            function=index,
            evidence="the bytes come from one reading only: nothing shows that a second would agree",
            advice="read the same window again into a new file, best after a power cycle and a reseat",
        )
    elif int(image.readings.min(initial=ENOUGH)) < ENOUGH and not any(r.holes for r in readings.readings):
        thin = np.flatnonzero(image.readings < ENOUGH)
        yield Finding(
            "single-reading",
            blocks=True,
            function=index,
            offsets=tuple(int(i) for i in thin),
            evidence=f"{len(thin)} of {len(image)} bytes were seen in fewer than two readings",
            advice="read again over the whole of the ROM",
        )
    if image.link_errors:
        doubtful = {d.offset for d in image.doubtful}
        open_ones = [offset for offset in image.link_errors if offset in doubtful]
        yield Finding(
            "link-corruption",
            blocks=bool(open_ones),
            function=index,
            offsets=image.link_errors,
            evidence=f"{_bytes(len(image.link_errors))} did not come the same each time, as a noisy line makes them; "
            + (f"still open: {len(open_ones)}" if open_ones else "repetition put them right"),
            advice="read again until none is open; check the ground and the baud rate of the serial line"
            if open_ones
            else "nothing for these bytes; where there are many, check the ground and the baud rate of the serial line",
        )
    if image.flipped:
        yield Finding(
            "weak-bits",
            blocks=True,
            function=index,
            offsets=image.flipped,
            evidence=f"{_bytes(len(image.flipped))} did not read the same each time, in a way that the line does not "
            "explain: cells or their supply are marginal",
            advice="read at both ends of the rated supply and at another temperature, and slower; do not trust a vote "
            "on these bytes alone",
        )
    names = tuple(map(line_name, lines_of(function.unknown)))
    if rig is not None:
        names = tuple(filter(rig.reaches, names))
    if names:
        next_ones = [item.where for item in function.read_next if {*names}.intersection(item.lines)]
        yield Finding(
            "short-window",
            blocks=False,
            function=index,
            lines=names,
            where=tuple(next_ones),
            evidence=f"{', '.join(names)} never exercised: no two blocks of the window differ in that line alone",
            advice=f"read {_some([str(where) for where in next_ones])} as well",
        )
    if function.resting and not _host_known(readings):
        names = tuple(line_name(i) for i in lines_of(function.resting))
        yield Finding(
            "short-window",
            blocks=False,
            function=index,
            lines=names,
            evidence=f"{', '.join(names)}: decided only by memory that appears once; if that is the host's own, the "
            "line is not exercised",
            advice="exclude the host's memory, or add a reading of the empty socket",
        )
    if function.sizes:
        sizes = " or ".join(f"{size} bytes" for size in function.sizes)
        larger = max(function.sizes) > function.size
        unread = larger and function.level(function.size.bit_length() - 1) == "unknown"
        why = "what follows was not read" if unread else "what follows may belong to it" if larger else ""
        yield Finding(
            "size-ambiguous",
            blocks=unread or not {"pulled-up", "pulled-down"} <= {r.role for r in readings.readings},
            function=index,
            evidence=f"{sizes} would explain the readings as well as {function.size}: "
            + (why or "half of it may be something else"),
            advice="declare the part or the size"
            + ("" if unread else ", or read with pull-ups and then with pull-downs on the data lines"),
        )


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count} bytes"


def _some(items: Sequence[str], shown: int = 4) -> str:
    more = len(items) - shown
    return ", ".join(items[:shown]) + (f" and {more} more" if more > 0 else "")


def _host_known(readings: ReadingSet) -> bool:
    """Tell whether the person said where the host's memory is, or showed it with an empty socket."""
    return bool(readings.excluded) or any(r.role == "empty-socket" for r in readings.readings)


def _about_host(readings: ReadingSet, found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt whether a memory that appears once, beside a ROM that repeats, is the specimen's at all."""
    if len(images) < 2 or _host_known(readings) or len(found.functions[images[0].function].copies) < 2:
        return
    for image in images[1:]:
        function = found.functions[image.function]
        if len(function.copies) == 1:
            first = function.copies[0].first
            yield Finding(
                "ram-or-rom",
                blocks=True,
                probability=DOUBTED,
                function=image.function,
                where=(Range(first, first + function.size - 1),),
                evidence="it appears once, beside a ROM that repeats: it may be the host's own memory",
                advice="exclude the host's memory, or add a reading of the empty socket",
            )


def _about_likeness(found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt the first ROM where another holds nearly the same bytes: one of them was disturbed, nothing tells which."""
    for other in images[1:]:
        first = images[0]
        if len(other) != len(first):
            continue
        differs = ((first.value ^ other.value) & first.seen & other.seen) != 0
        amount = int(np.count_nonzero(differs))
        if not 0 < amount <= (1 - SAME_SHARE) * len(first):
            continue
        places = " and ".join(f"{found.functions[image.function].copies[0].first:04X}" for image in (first, other))
        yield Finding(
            "contention",
            blocks=True,
            probability=DOUBTED,
            function=first.function,
            offsets=tuple(int(i) for i in np.flatnonzero(differs)),
            evidence=f"what answers at {places} is the same but for {_bytes(amount)}, each the same in every reading: "
            "something else drives the bus there, or these are two versions",
            advice="read again without the host's interrupts and devices; declare the size if this is one larger ROM",
        )
        return


def _about_choice(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    part: Part | None,
    size: int | None,
    codes: Sequence[Code],
) -> Iterator[Finding]:
    """Doubt which memory is the specimen's ROM, where nothing tells; of several alike not even its size does."""
    if not images or _told_apart(readings, images) or _tells_of_itself(codes):
        return
    functions = [found.functions[image.function] for image in images]
    first = functions[0]
    larger = any(f.size > first.size for f in found.functions)
    declared = bool(part or size)
    if len(functions) > 1 and len(first.copies) == 1 and not (declared and readings.excluded):
        places = ", ".join(f"{f.copies[0].first:04X}" for f in functions[:4])
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            evidence=f"memories that each appear once answer at {places}; nothing tells the specimen's from the host's",
            advice="exclude the host's memory, or add a reading of the empty socket",
        )
    elif part or (size and _reads_as_code(codes)):
        return
    elif len(first.copies) == 1 and not _host_known(readings) and _small_beside(found, first):
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            function=images[0].function,
            evidence="it appears once, beside a smaller memory that repeats: it may be the host's own, and the smaller "
            "one the specimen's",
            advice="exclude the host's memory, declare the part, or add a reading of the empty socket",
        )
    elif declared:
        return
    elif first.size * first.width <= LITTLE and (len(first.copies) == 1 or first.size in RAM_SIZES or larger):
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            function=images[0].function,
            evidence=f"{first.size} bytes could as well be RAM, or a part of more: no part or size was declared",
            advice="declare the part, or read again after a power cycle with another --session name",
        )


def _small_beside(found: Survey, first: Function) -> bool:
    """Tell whether something that was taken for RAM or registers repeats.

    Registers that repeat within the space of the ROM alone are decoded as it is: a combination chip shows so.
    """
    return any(f.kind != "rom" and _repeats(f, first) for f in found.functions)


def _repeats(function: Function, first: Function) -> bool:
    """Tell whether a function stands in several places; of registers, in several blocks of the ROM's size."""
    if function.kind == "registers":
        return len({copy.first // first.size for copy in function.copies}) > 1
    return len(function.copies) > 1


def _about_gap(
    readings: ReadingSet, found: Survey, images: Sequence[Image], part: Part | None, size: int | None
) -> Iterator[Finding]:
    """Doubt the size of a ROM that holds one value over a whole block: two chips may stand there.

    Where it stands once, any such block is doubted that something follows which begins as a chip would. At its end, or
    where it repeats, only one that begins and ends exactly as a chip would: code ends raggedly.
    """
    controlled = any(r.role == "empty-socket" for r in readings.readings)
    if not images or part or size or controlled:
        return
    image = images[0]
    once = len(found.functions[image.function].copies) == 1
    gap = next((g for g in _of_one_value(image) if _is_exact(image, g) or (once and _chip_follows(image, g))), None)
    if gap is None:
        return
    base = found.functions[image.function].copies[0].first
    yield Finding(
        "size-ambiguous",
        blocks=True,
        function=image.function,
        probability=DOUBTED,
        where=(Range(base + gap.first, base + gap.last),),
        evidence=f"{gap.first:04X}-{gap.last:04X} of it hold one value only: a blank part, or the floating bus between "
        "two chips" + ("; it appears once, so nothing tells" if once else ""),
        advice="declare the part or the size, or add a reading of the empty socket",
    )


def _about_rest(
    readings: ReadingSet, found: Survey, images: Sequence[Image], codes: Sequence[Code]
) -> Iterator[Finding]:
    """Doubt an undeclared size where the other half of a ROM of twice that size would read as the bus does, if blank.

    Unused bytes are at the end of a ROM for the most part; only there they count against it. A program that ends in
    its vectors, or that checks itself, is whole.
    """
    if not images or _ends_in_vectors(codes) or _tells_of_itself(codes):
        return
    function = found.functions[images[0].function]
    line = function.size.bit_length() - 1
    if line >= found.address_bits or function.level(line) not in ("0", "1"):
        return
    others = [copy.first ^ function.size for copy in function.copies]
    said = [_said(readings, other, function.size) for other in others]
    blank = next(
        (value for value in BLANKS if any(len(one) for one in said) and all(_is(one, value) for one in said)), -1
    )
    if blank < 0 or ("pulled-down" if blank else "pulled-up") in {r.role for r in readings.readings}:
        return
    follows, alone = function.level(line) == "0", not _rests_at(readings, found, blank, others, function.size)
    yield Finding(
        "size-ambiguous",
        blocks=follows or alone,
        function=images[0].function,
        probability=DOUBTED if alone else LARGER,
        where=(Range(others[0], others[0] + function.size - 1),),
        evidence=f"what {'follows' if follows else 'is before it'} reads {blank:02X} throughout, as blank bytes would, "
        "and "
        + ("as the bus does not elsewhere" if alone else "as the bus does where nobody answers")
        + f": the ROM may be larger than {function.size} bytes, and blank there",
        advice="declare the part or the size, or read with the data lines pulled "
        f"{'down' if blank else 'up'}: what still reads {blank:02X} there is the ROM's",
    )


def _rests_at(readings: ReadingSet, found: Survey, value: int, others: Sequence[int], size: int) -> bool:
    """Tell whether the floating bus says a value elsewhere than in some blocks, or is seen nowhere else."""
    open_bus = [region for region in found.regions if region.kind == "open-bus"]
    ends = [(max(r.first, start), min(r.last + 1, stop)) for r in open_bus for start, stop in _between(others, size)]
    blocks = [(first, stop - first) for first, stop in ends if stop - first >= 1 << GRANULE_LINES]
    said = np.concatenate([_said(readings, *block) for block in blocks[:REGIONS]] or [np.zeros(0, np.uint8)])
    return not len(said) or float(np.mean(said == value)) >= 0.5


def _between(firsts: Sequence[int], size: int) -> Iterator[tuple[int, int]]:
    """Yield the ranges, each as its first address and the one behind its last, that some blocks leave free."""
    start = 0
    for first in sorted(firsts):
        yield start, first
        start = first + size
    yield start, 1 << 32


def _said(readings: ReadingSet, first: int, size: int) -> Bytes:
    """Return the bytes of a block, as far as the readings of the specimen are sure of them."""
    granules = np.arange(first >> GRANULE_LINES, (first + size) >> GRANULE_LINES)
    said = consensus(stack(readings.with_role("specimen"), readings.address_bits, readings.excluded, granules))
    sure: Bytes = said.value[said.sure]
    return sure


def _is(said: Bytes, value: int) -> bool:
    """Tell whether bytes are one value, but for noise; of a block that was not read, nothing else is known."""
    return not len(said) or float(np.mean(said == value)) >= SAME_SHARE


def _ends_in_vectors(codes: Sequence[Code]) -> bool:
    """Tell whether the first image is a program whose vectors end it: no blank bytes follow them."""
    return bool(codes) and codes[0].cpu in VECTORED and any(name == "reset" for name, _ in codes[0].entries)


def _about_hollow(images: Sequence[Image], codes: Sequence[Code]) -> Iterator[Finding]:
    """Doubt a program with a blank block in its midst that cuts it off in full flow, and goes on as sharply behind.

    Unused room begins where code ends, raggedly; where two address lines act as one, padding takes a block's place.
    """
    if not images or not _reads_as_code(codes):
        return
    image = images[0]
    inner = (
        g for g in _of_one_value(image) if g.first > 0 and g.last < len(image) - 1 and image.value[g.first] in BLANKS
    )
    gap = next((g for g in inner if _is_exact(image, g)), None)
    if gap is None:
        return
    yield Finding(
        "address-lines-bridged",
        blocks=True,
        function=image.function,
        offsets=(gap.first, gap.last),
        probability=OTHERS,
        evidence=f"{gap.first:04X}-{gap.last:04X} are blank, and the program before and behind breaks off just there: "
        "padding from elsewhere may stand in the place of code, as where two address lines act as one",
        advice="power off, then look for a bridge between the address lines, and between them and the selects",
    )


def _of_one_value(image: Image) -> Iterator[Range]:
    """Yield the blocks of an image, an eighth of it or more and as a chip could stand, that hold one value."""
    block = len(image) // 2
    while block >= max(RAM_SIZES[0], len(image) // 8):
        for first in range(0, len(image), block):
            value = image.value[first : first + block]
            if (value == value[0]).all():
                yield Range(first, first + block - 1)
        block //= 2


def _is_exact(image: Image, gap: Range) -> bool:
    """Tell whether the bytes on both sides of a block of one value are others, as far as there are any."""
    value = image.value[gap.first]
    beside = [image.value[at] for at in (gap.first - 1, gap.last + 1) if 0 <= at < len(image)]
    return all(byte != value for byte in beside)


def _chip_follows(image: Image, gap: Range) -> bool:
    """Tell whether what ends a run of one value begins where a chip could; vectors behind padding do not."""
    after = np.flatnonzero(image.value[gap.last + 1 :] != image.value[gap.first])
    return len(after) > 0 and (gap.last + 1 + int(after[0])) % RAM_SIZES[0] == 0


def _tells_of_itself(codes: Sequence[Code]) -> bool:
    """Tell whether one image, and one alone, makes a check of itself that comes out right: that is a whole program."""
    sure = [check for check in codes[0].checks if check.chance_hits <= SELDOM] if codes else []
    return bool(sure) and not any(code.checks for code in codes[1:])


def _reads_as_code(codes: Sequence[Code]) -> bool:
    """Tell whether the first image reads as code: neither RAM nor, mostly, tables of a host."""
    return bool(codes) and codes[0].cpu is not None


def _told_apart(readings: ReadingSet, images: Sequence[Image]) -> bool:
    """Tell whether a second power-up or a control reading tells ROM from RAM, and the specimen from the host."""
    controlled = any(r.role == "empty-socket" for r in readings.readings)
    return controlled and (images[0].confidence.sessions >= ENOUGH or len(images[0]) not in RAM_SIZES)
