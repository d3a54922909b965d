#!/usr/bin/env python3
"""Holds the binary interface of the shared library against the stored one.

`tests/abi/faultloom-N.abi` is what programs built against interface version N rely on: the
exported functions with the types of their arguments, read by abidw from the debug information of a
build. New functions are fine, everything else that differs is an error. It is also shown that the
check finds what it is for: tiny libraries made from the header, one as it is, one with a function
more and the others with a slip each, must pass and fail.

With `--update` the stored file is written anew; do that when a function was added, or together with
a new FAULTLOOM_ABI_VERSION.
"""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from check_header import declared_functions

SKIPPED = 77
FUNCTION = re.compile(r"^FAULTLOOM_API ([^;]*);", re.MULTILINE)


class Broken(Exception):
    """The interface differs, or the check can't tell."""


def output_of(*command: str | Path) -> str:
    """What a command prints; raises when it fails."""
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True)
    if done.returncode != 0:
        raise Broken(f"{command[0]} ended with {done.returncode}: {done.stderr}")
    return done.stdout


def described(library: Path, headers: Path, to: Path) -> Path:
    """The interface of a library as XML. Types that the public header only names stay closed."""
    if ".debug_info" not in output_of("readelf", "-SW", library):
        raise Broken(
            f"{library} has no debug information, so nothing could be compared; build with -g"
        )
    words = ["--drop-private-types", "--exported-interfaces-only", "--no-corpus-path"]
    words += ["--no-comp-dir-path", "--no-show-locs", "--no-elf-needed", "--no-architecture"]
    output_of("abidw", "--headers-dir", headers, *words, library, "--out-file", to)
    return to


def differences(baseline: Path, now: Path) -> str:
    """What abidiff has to say, "" if programs built against the baseline still run."""
    command = ["abidiff", "--no-added-syms", str(baseline), str(now)]
    done = subprocess.run(command, capture_output=True, text=True)
    return "" if done.returncode == 0 else f"abidiff: {done.returncode}\n{done.stdout}{done.stderr}"


def tiny_library(header: str, version_script: Path, folder: Path, cc: str, debug: str) -> Path:
    """A library that declares and exports what the header does, and does nothing."""
    folder.mkdir()
    (folder / "faultloom.h").write_text(header, encoding="utf-8")
    bodies = []
    for match in FUNCTION.finditer(header):
        declaration = match.group(1)
        body = "{ }" if declaration.startswith("void ") else "{ return 0; }"
        bodies.append(f"{declaration} {body}\n")
    source = folder / "tiny.c"
    source.write_text('#include "faultloom.h"\n' + "".join(bodies), encoding="utf-8")
    library = folder / "libfaultloom.so"
    words = [debug, "-shared", "-fPIC", f"-Wl,--version-script={version_script}"]
    soname = "-Wl,-soname,libfaultloom.so." + abi_number(header)
    output_of(cc, *words, soname, source, "-o", library)
    return library


def abi_number(header: str) -> str:
    """FAULTLOOM_ABI_VERSION."""
    return re.search(r"#define FAULTLOOM_ABI_VERSION (\d+)", header).group(1)


# What is done to the header, and whether the check must mind: text, its replacement, verdict.
SLIPS = {
    "nothing": ("", "", False),
    "a function more": (
        "FAULTLOOM_API uint32_t faultloom_abi_version(void);",
        "FAULTLOOM_API uint32_t faultloom_abi_version(void);\n"
        "FAULTLOOM_API int32_t faultloom_more(int a);",
        False,
    ),
    "a function less": ("FAULTLOOM_API uint32_t faultloom_abi_version(void);", "", True),
    "an argument of another type": ("size_t index,", "int32_t index,", True),
    "an argument more": ("faultloom_abi_version(void)", "faultloom_abi_version(int32_t a)", True),
    "two arguments exchanged": (
        "const char* csv, size_t csv_size,",
        "size_t csv_size, const char* csv,",
        True,
    ),
    "a wider status": (
        "typedef int32_t faultloom_status;",
        "typedef int64_t faultloom_status;",
        True,
    ),
    "another watcher": ("(double share, void* user)", "(float share, void* user)", True),
    "another result": ("uint32_t faultloom_abi_version", "uint64_t faultloom_abi_version", True),
}


def check_the_check(header: str, version_script: Path, baseline: Path, cc: str) -> None:
    """Raises unless each slip is found and nothing else is."""
    with tempfile.TemporaryDirectory() as temporary:
        for number, (name, (text, other, minds)) in enumerate(SLIPS.items()):
            if text not in header:
                raise Broken(f"the slip '{name}' does not fit the header any more")
            folder = Path(temporary) / str(number)
            slipped = header.replace(text, other) if text else header
            library = tiny_library(slipped, version_script, folder, cc, "-g")
            found = differences(baseline, described(library, folder, folder / "now.abi"))
            if bool(found) != minds:
                verdict = "is not found" if minds else f"is taken for a slip:\n{found}"
                raise Broken(f"'{name}' {verdict}")
        library = tiny_library(header, version_script, Path(temporary) / "bare", cc, "-g0")
        try:
            described(library, library.parent, library.parent / "now.abi")
        except Broken:
            return
        raise Broken("a library without debug information is not refused")


def check_names(header: str, version_script: Path, library: Path) -> None:
    """Raises unless soname and version node follow FAULTLOOM_ABI_VERSION."""
    number = abi_number(header)
    dynamic = output_of("readelf", "-dW", library)
    if f"[libfaultloom.so.{number}]" not in dynamic:
        raise Broken(f"the soname is not libfaultloom.so.{number}:\n{dynamic}")
    if f"FAULTLOOM_{number} " not in version_script.read_text(encoding="utf-8"):
        raise Broken(f"{version_script} has no node FAULTLOOM_{number}")


def check(options: argparse.Namespace) -> str:
    """Runs the whole check; returns what to print."""
    headers = options.project / "capi" / "include"
    header = (headers / "faultloom.h").read_text(encoding="utf-8")
    version_script = options.project / "capi" / "faultloom.map"
    baseline = options.project / "tests" / "abi" / f"faultloom-{abi_number(header)}.abi"
    check_names(header, version_script, options.library)
    if options.update:
        described(options.library, headers, baseline)
    elif not baseline.exists():
        raise Broken(f"{baseline} is missing; make it with --update")
    with tempfile.TemporaryDirectory() as temporary:
        now = described(options.library, headers, Path(temporary) / "now.abi")
        found = differences(baseline, now)
    if found:
        raise Broken(
            f"{found}\nThe interface differs; raise FAULTLOOM_ABI_VERSION or take it back."
        )
    stored = set(re.findall(r"<elf-symbol name='(\w+)'", baseline.read_text(encoding="utf-8")))
    check_the_check(header, version_script, baseline, options.cc)
    said = f"The interface holds: {len(stored)} functions, {len(SLIPS)} tries on the check itself."
    unknown = sorted(declared_functions(header) - stored)
    return f"{said}\nNot stored yet, see --update: {', '.join(unknown)}" if unknown else said


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    parser.add_argument("--library", type=Path, required=True)
    parser.add_argument("--cc", default="cc")
    parser.add_argument("--update", action="store_true")
    options = parser.parse_args()
    if shutil.which("abidw") is None or shutil.which("abidiff") is None:
        print("abidw and abidiff are not installed (package abigail-tools)")
        return SKIPPED
    try:
        print(check(options))
    except Broken as problem:
        print(problem)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
