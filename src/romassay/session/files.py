"""Files on disk, for the use cases: written so that a kill leaves the old content or the new, whole."""

from romassay.docket.files import write_atomically

__all__ = ["write_atomically"]
