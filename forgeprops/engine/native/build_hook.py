"""Build hook of hatchling: compiles the engine, once per instruction level, into this folder.

The compiler is clang of the pinned ``ziglang`` wheel, with a fixed target and never the build machine's own processor.
CC names another clang, for the machine it runs on. FORGEPROPS_TARGET names another target of `targets.TARGETS`.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import shlex
import subprocess
import sys
import sysconfig
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

FOLDER = Path(__file__).resolve().parent


def _beside(name):
    """Return a module of this folder: the package itself cannot be imported while it is built."""
    spec = importlib.util.spec_from_file_location(name, FOLDER / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


library, targets = _beside("library"), _beside("targets")


def compile_engine(target, own_compiler: str = "") -> list[Path]:
    """Compile the engine for a target, unless its libraries are up to date, and return their paths.

    `own_compiler` is the command of a clang for this machine; by default the pinned ziglang.
    """
    if own_compiler:
        command = shlex.split(own_compiler, posix=os.name != "nt")
        compiler = f"CC {Path(command[0]).name}"
    else:
        command = [sys.executable, "-m", "ziglang", "cc", "-target", target.triple, "-s"]
        compiler = f"ziglang {importlib.metadata.version('ziglang')} {target.triple}"
    digest = library.source_hash()
    paths = {level: FOLDER / f"_engine_{level}{target.suffix}" for level in target.levels}

    def is_current(path):
        return path.exists() and all(
            mark.encode() + b"\0" in path.read_bytes() for mark in (digest, compiler)
        )

    stale = [level for level, path in paths.items() if not is_current(path)]
    if not stale:
        return list(paths.values())

    with tempfile.TemporaryDirectory(dir=FOLDER, prefix="_engine_build_") as folder:
        environment = {"ZIG_GLOBAL_CACHE_DIR": folder, "ZIG_LOCAL_CACHE_DIR": folder, **os.environ}

        def call(*arguments):
            whole = [*command, *targets.FLAGS, *arguments]
            done = subprocess.run(
                whole, capture_output=True, text=True, env=environment, cwd=folder, check=False
            )
            if done.returncode:
                raise RuntimeError(
                    f"The engine did not compile.\n{shlex.join(whole)}\n{done.stderr}"
                )

        def compile_level(level):
            # zig spells x86_64_v3, clang x86-64-v3
            march = f"-march={level.replace('_', '-') if own_compiler else level}"
            flags = [march] if level in targets.X86_64 else []
            call(*flags, "-c", "-o", f"{level}.o", str(FOLDER / "engine.c"))

        defines = [f'-DSOURCE_HASH="{digest}"', f'-DCOMPILED_BY="{compiler}"']
        call(*defines, "-c", "-o", "library.o", str(FOLDER / "library.c"))
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(compile_level, stale))
        # Linked without an instruction level, so that the compiler's own runtime is compiled once.
        for level in stale:
            name = paths[level].name
            call("-o", name, f"{level}.o", "library.o")
            Path(folder, name).replace(paths[level])  # at once: a running process keeps its file
    return list(paths.values())


class EngineBuild(BuildHookInterface):
    """Compiles before a wheel or an editable install is made, not for a source distribution."""

    def initialize(self, version, build_data):
        musl = "-musl" if "musl" in (sysconfig.get_config_var("HOST_GNU_TYPE") or "") else ""
        host = f"{sys.platform}-{library.machine()}{musl}"
        name = os.environ.get("FORGEPROPS_TARGET") or host
        if name not in targets.TARGETS or sys.maxsize < 2**32:
            raise RuntimeError(
                f"forgeprops has no engine for {name}; give {', '.join(targets.TARGETS)}."
            )
        target = targets.TARGETS[name]
        own_compiler = os.environ.get("CC", "") if name == host else ""
        tag = target.tag
        if own_compiler and name.startswith("linux"):
            tag = tag.replace("manylinux_2_17", "linux")  # another compiler promises no glibc floor
        build_data["pure_python"] = False
        build_data["tag"] = f"py3-none-{tag}"
        build_data["artifacts"] += [
            "/" + path.relative_to(self.root).as_posix()
            for path in compile_engine(target, own_compiler)
        ]
