"""What lies on the bench: the dockets it may touch, and no other place on the disk; what was derived is remembered."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from romassay.catalogue import host_names, load_host
from romassay.docket.manifest import MANIFEST_FILE, Decided, decode, safe_name
from romassay.errors import BadInput, BadValue
from romassay.rig import Host
from romassay.session.assay import Derived, Request, assay_files, decide, derive

_REMEMBERED = 4


def hosts_with_dialogue(files: tuple[Path, ...]) -> dict[str, Host]:
    """Return the hosts that can be asked: the person's own by the names of their files, then the catalogue's."""
    known = {path.stem: load_host(path) for path in files}
    known |= {name: load_host(name) for name in host_names() if name not in known}
    return {name: host for name, host in known.items() if host.dialogue is not None}


class UnknownDocketError(KeyError):
    """There is no docket of that name on the bench."""


@dataclass(eq=False)
class Desk:
    """The dockets on the bench.

    Attributes:
        folder: where new dockets are made; those that lie in it are on the bench too.
        named: dockets from elsewhere, by name.
        hosts: those that can be asked over a line, by name.
    """

    folder: Path
    named: dict[str, Path] = field(default_factory=dict)
    hosts: Mapping[str, Host] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _known: OrderedDict[tuple[str, int, int], Derived] = field(default_factory=OrderedDict)

    @classmethod
    def of(cls, folder: Path, dockets: tuple[Path, ...], host_files: tuple[Path, ...] = ()) -> Desk:
        """Return a desk with the named dockets and the hosts of the catalogue; two dockets of one name get numbers.

        Raises:
            BadCatalogue: a host file of one's own breaks its rules.
        """
        named: dict[str, Path] = {}
        for docket in dockets:
            place = docket.resolve()
            name, number = place.name, 1
            while name in named:
                number += 1
                name = f"{place.name}-{number}"
            named[name] = place
        return cls(folder.resolve(), named, hosts_with_dialogue(host_files))

    def names(self) -> list[str]:
        """Return the names of all dockets on the bench."""
        here = self.folder.iterdir() if self.folder.is_dir() else ()
        return sorted({*self.named, *(path.name for path in here if (path / MANIFEST_FILE).is_file())})

    def lying(self) -> list[tuple[str, str]]:
        """Return the name of each docket, and what was last done with it, in words."""
        return [(name, _last_done(self.place(name))) for name in self.names()]

    def place(self, name: str, *, new: bool = False) -> Path:
        """Return where a docket lies.

        Raises:
            UnknownDocketError: there is none of that name.
            BadValue: it is to be a new one, and the name is not a plain one.
        """
        if name in self.named:
            return self.named[name]
        if name in self.names():
            return self.folder / name
        if not new:
            raise UnknownDocketError(name)
        if safe_name(name) != name:
            raise BadValue(f"'{name}' is no name for a docket", advice="take letters, digits, '-' and '_'")
        return self.folder / name

    def look(self, name: str) -> Derived:
        """Return a docket's assay, derived anew where its manifest has changed."""
        place = self.place(name)
        with self._lock:
            key = (name, *_stamp(place))
            if key not in self._known:
                self._remember(key, derive(place))
            self._known.move_to_end(key)
            return self._known[key]

    def assay(self, name: str, request: Request) -> Derived:
        """Add to a docket, or make one, by a request without a place; return what it says then."""
        place = self.place(name, new=True)
        with self._lock:
            assay_files(Request(request.inputs, request.settings, place, request.command))
        return self.look(name)

    def decide(self, name: str, choice: Decided, *, back: bool) -> Derived:
        """Keep a decision, or take it back."""
        place = self.place(name)
        with self._lock:
            found = decide(place, choice, back=back)
            self._remember((name, *_stamp(place)), found)
        return found

    def _remember(self, key: tuple[str, int, int], found: Derived) -> None:
        self._known[key] = found
        while len(self._known) > _REMEMBERED:
            self._known.popitem(last=False)


def _last_done(place: Path) -> str:
    try:
        history = decode((place / MANIFEST_FILE).read_bytes(), str(place)).history
    except (OSError, BadInput):
        return "its manifest can't be read"
    return f"{history[-1].when}: {history[-1].did}" if history else ""


def _stamp(place: Path) -> tuple[int, int]:
    try:
        found = (place / MANIFEST_FILE).stat()
    except OSError:
        return (0, 0)
    return (found.st_mtime_ns, found.st_size)
