"""What the engine is compiled for: flags, and for each platform its floor, instruction levels and wheel tag."""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["FLAGS", "TARGETS", "X86_64", "Target"]

#: Equal digits at every level: a product and a sum of one expression become one fused multiply-add, which all of these
#: processors have, and there is no fast-math. Without errno a square root is one instruction, which IEEE 754 rounds
#: alike everywhere.
FLAGS = ("-std=c11", "-O3", "-ffp-contract=on", "-fno-math-errno", "-fPIC", "-shared")
X86_64 = ("x86_64_v3", "x86_64_v4")
ARM64 = ("arm64",)


class Target(NamedTuple):
    """One platform."""

    triple: str  # for the compiler, with the floor of glibc or macOS
    levels: tuple[str, ...]
    suffix: str
    tag: str  # of the wheel


TARGETS = {
    "linux-x86_64": Target("x86_64-linux-gnu.2.17", X86_64, ".so", "manylinux_2_17_x86_64"),
    "linux-arm64": Target("aarch64-linux-gnu.2.17", ARM64, ".so", "manylinux_2_17_aarch64"),
    "win32-x86_64": Target("x86_64-windows-gnu", X86_64, ".dll", "win_amd64"),
    "darwin-x86_64": Target("x86_64-macos.11.0", X86_64, ".dylib", "macosx_11_0_x86_64"),
    "darwin-arm64": Target("aarch64-macos.11.0", ARM64, ".dylib", "macosx_11_0_arm64"),
}
