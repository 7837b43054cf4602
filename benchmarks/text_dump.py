"""How fast a text dump is read, layout learnt and all, beside `xxd -r` on the same bytes in the same run.

    python benchmarks/text_dump.py [MIB]

The dump of MIB MiB (4 unless said) is printed by xxd itself. The fastest of three runs counts. Nothing is asserted.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from romassay.formats import load


def main(mebibytes: int) -> None:
    """Print the two times and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        image, dump, back = (Path(folder, name) for name in ("image.bin", "dump.txt", "back.bin"))
        image.write_bytes(random.Random(1).randbytes(mebibytes << 20))
        subprocess.run(["xxd", image, dump], check=True)
        ours = theirs = float("inf")
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run(["xxd", "-r", dump, back], check=True)
            theirs = min(theirs, time.perf_counter() - start)
            start = time.perf_counter()
            loaded = load(dump)
            ours = min(ours, time.perf_counter() - start)
        right = bytes(loaded.readings[0].value) == image.read_bytes()
        print(f"{dump.stat().st_size / 1e6:.1f} MB of text, layout {loaded.layout}; right: {right}")
        print(f"xxd -r {theirs:.2f} s, romassay {ours:.2f} s: {theirs / ours:.2f} times as fast")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
