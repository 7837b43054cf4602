"""The report as a use case: a docket in, one page out."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from romassay.docket.files import write_atomically
from romassay.docket.record import RECORD_FILE, result_files
from romassay.errors import BadInput, reason_of
from romassay.session.assay import Derived, derive, not_filed

if TYPE_CHECKING:
    from romassay.chain import Assay
    from romassay.report.page import Photo
    from romassay.report.page_image import Listed

PHOTOS_FOLDER = "photos"
"""Photographs of the specimen and the rig that a person puts into a docket."""

_KINDS = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp", ".gif": "image/gif"}
_LARGEST_PHOTO = 20 << 20
_LONGEST_LISTED = 0x4000


@dataclass(frozen=True, slots=True)
class Reported:
    """What was written, and what was not.

    Attributes:
        size: bytes of the page.
        left_out: names in the folder of photographs that are not in the page, with the reason.
        differing: images in the docket that are not what its readings give.
        notices: sentences about files that went into nothing.
    """

    size: int
    left_out: tuple[str, ...]
    differing: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()


def write_report(docket: Path, target: Path) -> Reported:
    """Derive a docket anew and write its report as one HTML page.

    Raises:
        BadInput: a folder that is no docket, a damaged docket, or a page that cannot be written.
    """
    found = derive(docket)
    content, left_out = report_of(docket, found)
    write_atomically(target, content)
    notices = not_filed(docket, found.manifest)
    return Reported(len(content), left_out, differing_images(docket, found.assay), notices)


def differing_images(docket: Path, assay: Assay) -> tuple[str, ...]:
    """Return the names of images that are missing from a docket or hold other bytes than its readings give."""
    images = [file for file in result_files(assay) if file.name != RECORD_FILE]
    return tuple(file.name for file in images if not _holds(docket / file.name, file.data))


def _holds(path: Path, data: bytes) -> bool:
    try:
        return path.read_bytes() == data
    except OSError:
        return False


def report_of(docket: Path, found: Derived) -> tuple[bytes, tuple[str, ...]]:
    """Return the page, and the names of photographs that are not in it, with the reason."""
    from romassay.report.page import About, report_page

    photos, left_out = _photos(docket / PHOTOS_FOLDER)
    about = About(
        name=docket.resolve().name,
        manifest=found.manifest,
        photos=photos,
        listings=_listings(found.assay, docket.resolve().name),
        command=shlex.join(["romassay", "assay", "-o", str(docket)]),
    )
    return report_page(found.assay, about).encode("utf-8", "replace"), left_out


def _listings(assay: Assay, name: str) -> dict[int, Listed]:
    """Return a listing of each image whose CPU is known, where it is short enough to be read on a page."""
    from romassay.report.page_image import Listed
    from romassay.report.strip import strip
    from romassay.session.listing import Wanted, list_found

    listings = {}
    for number, code in enumerate(assay.codes):
        if code.cpu is not None and len(assay.images[number]) <= _LONGEST_LISTED:
            listed = list_found(assay, name, Wanted(image=number + 1))
            listings[number] = Listed(listed.text, strip(listed.listing, "svg"))
    return listings


def _photos(folder: Path) -> tuple[tuple[Photo, ...], tuple[str, ...]]:
    from romassay.report.page import Photo

    if not folder.is_dir():
        return (), ()
    shown: list[Photo] = []
    left_out: list[str] = []
    for path in sorted(folder.iterdir()):
        kind = _KINDS.get(path.suffix.lower())
        if kind is None:
            left_out.append(f"{path.name}: no kind of picture that a page can show")
        elif path.stat().st_size > _LARGEST_PHOTO:
            left_out.append(f"{path.name}: larger than {_LARGEST_PHOTO >> 20} MiB")
        else:
            shown.append(Photo(path.name, kind, _content(path)))
    return tuple(shown), tuple(left_out)


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as e:
        raise BadInput(f"cannot be read ({reason_of(e)})", place=str(path)) from e
