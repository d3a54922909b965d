#!/usr/bin/env python3
"""Installs the built library, moves the installed tree and builds a C program against it.

Both ways of finding the library are tried, the CMake package and pkg-config, so that neither may
hold a path of the machine it was built on.
"""

from __future__ import annotations

import argparse
import os
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path


def run(*command: str | Path, **environment: str) -> str:
    """Runs a command, raises with its output when it fails, returns what it printed."""
    result = subprocess.run(
        [str(word) for word in command],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    if result.returncode != 0:
        raise RuntimeError(f"{shlex.join(str(w) for w in command)}\n{result.stdout}{result.stderr}")
    return result.stdout


def check(project: Path, build: Path, cmake: str, cc: str, scratch: Path) -> None:
    """Runs the whole check in the folder `scratch`."""
    consumer = project / "tests" / "install"
    run(cmake, "--install", build, "--prefix", scratch / "first")
    prefix = scratch / "moved" / "here"
    prefix.parent.mkdir()
    (scratch / "first").rename(prefix)

    run(cmake, "-S", consumer, "-B", scratch / "by-cmake", f"-DCMAKE_PREFIX_PATH={prefix}")
    run(cmake, "--build", scratch / "by-cmake")
    run(scratch / "by-cmake" / "consumer")

    (package,) = prefix.rglob("faultloom.pc")
    words = run(
        "pkg-config", "--cflags", "--libs", "faultloom", PKG_CONFIG_PATH=str(package.parent)
    )
    program = scratch / "by-pkg-config"
    run(cc, "-std=c99", consumer / "consumer.c", "-o", program, *shlex.split(words))
    run(program, LD_LIBRARY_PATH=str(package.parent.parent))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    parser.add_argument("build", type=Path)
    parser.add_argument("--cmake", default="cmake")
    parser.add_argument("--cc", default="cc")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        try:
            check(options.project, options.build, options.cmake, options.cc, Path(folder))
        except (RuntimeError, ValueError, OSError) as problem:
            print(problem)
            return 1
    print("The installed tree works after it was moved.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
