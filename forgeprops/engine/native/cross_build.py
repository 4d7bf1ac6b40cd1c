"""Builds the wheels of all platforms with the pinned ziglang: ``python forgeprops/engine/native/cross_build.py [folder]``.

Needs the package ``build``. Writes the wheels to ``dist`` unless a folder is given. Windows takes about a minute more
than the others, because its C runtime is compiled too.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from targets import TARGETS  # beside this script

ROOT = Path(__file__).resolve().parents[3]


def main():
    out = Path(sys.argv[1] if len(sys.argv) > 1 else ROOT / "dist").resolve()
    environment = {k: v for k, v in os.environ.items() if k != "CC"}
    for target in TARGETS:
        subprocess.run(
            [sys.executable, "-m", "build", "--wheel", "--outdir", str(out), str(ROOT)],
            env={**environment, "FORGEPROPS_TARGET": target},
            check=True,
        )
    for path in sorted(out.glob("*.whl")):
        print(f"{path.name}  {path.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
