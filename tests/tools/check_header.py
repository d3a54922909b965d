#!/usr/bin/env python3
"""Checks the border of the shared library.

The functions declared in capi/include/faultloom.h, the names listed in capi/symbols.txt and the
symbols that the built library exports must be the same, and the header must compile alone, without
warnings, as C99 and as C++11. The comment of each function must end in Stable or Experimental, and
every enumerator must have one.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path


def declared_functions(header: str) -> set[str]:
    """Names of the functions that a C header declares with FAULTLOOM_API."""
    code = re.sub(r"/\*.*?\*/|//[^\n]*", " ", header, flags=re.DOTALL)
    code = re.sub(r"^[ \t]*#(?:[^\n]*\\\n)*[^\n]*", "", code, flags=re.MULTILINE)
    return set(re.findall(r"\bFAULTLOOM_API\b[^;(]*?\b(\w+)\s*\(", code))


def without_stability(header: str) -> list[str]:
    """Functions whose comment does not end in the word that says how long they will stay."""
    found = []
    for match in re.finditer(r"^FAULTLOOM_API\b[^;(]*?\b(\w+)\s*\(", header, re.MULTILINE):
        before = header[: match.start()]
        comment = re.search(r"/\*((?:(?!\*/).)*)\*/\n\Z", before, re.DOTALL)
        words = comment.group(1).split() if comment else []
        if not words or words[-1] not in ("Stable.", "Experimental."):
            found.append(f"{match.group(1)}: its comment must end in Stable. or Experimental.")
    return found


def silent_enumerators(header: str) -> list[str]:
    """Enumerators without a comment behind them."""
    return [
        f"{name}: say behind it what it means"
        for body in re.findall(r"^enum\b[^{]*\{(.*?)^\};", header, re.MULTILINE | re.DOTALL)
        for name in re.findall(r"^\s*(\w+) = \d+,?[ \t]*$", body, re.MULTILINE)
    ]


def listed_symbols(text: str) -> list[str]:
    """Names in symbols.txt: one a line, `#` starts a comment."""
    lines = (line.split("#", 1)[0].strip() for line in text.splitlines())
    return [line for line in lines if line]


def exported_symbols(nm: str, library: Path) -> set[str]:
    """Names a shared library defines for others; the version node itself is not one."""
    output = subprocess.run(
        [nm, "-D", "--defined-only", str(library)], check=True, capture_output=True, text=True
    ).stdout
    rows = (line.split() for line in output.splitlines())
    return {row[-1].split("@")[0] for row in rows if row[-2] != "A"}


def differences(name: str, names: set[str], other: str, others: set[str]) -> list[str]:
    """What is in one set only, as printable lines."""
    found = [f"{entry}: in {name}, not in {other}" for entry in sorted(names - others)]
    return found + [f"{entry}: in {other}, not in {name}" for entry in sorted(others - names)]


def compile_alone(compiler: str, standard: str, language: str, header: Path) -> list[str]:
    """Compiles a source that holds nothing but the header."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / ("alone.c" if language == "c" else "alone.cpp")
        source.write_text(
            f'#include "{header.resolve()}"\nint faultloom_alone;\n', encoding="utf-8"
        )
        command = [compiler, f"-std={standard}", "-x", language, "-pedantic", "-Wall", "-Wextra"]
        command += ["-Werror", "-fsyntax-only", str(source)]
        result = subprocess.run(command, capture_output=True, text=True, check=False)
    if result.returncode == 0:
        return []
    return [f"the header does not compile alone as {standard}:\n{result.stderr}"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    parser.add_argument("--library", type=Path, required=True)
    parser.add_argument("--cc", default="cc")
    parser.add_argument("--cxx", default="c++")
    parser.add_argument("--nm", default="nm")
    options = parser.parse_args()

    header = options.project / "capi" / "include" / "faultloom.h"
    text = header.read_text(encoding="utf-8")
    declared = declared_functions(text)
    listing = listed_symbols((options.project / "capi" / "symbols.txt").read_text(encoding="utf-8"))
    exported = exported_symbols(options.nm, options.library)

    found = differences("faultloom.h", declared, "the library", exported)
    found += differences("faultloom.h", declared, "symbols.txt", set(listing))
    if listing != sorted(set(listing)):
        found.append("symbols.txt is not sorted or names something twice")
    found += without_stability(text) + silent_enumerators(text)
    if not declared:
        found.append("the header declares no function")
    found += compile_alone(options.cc, "c99", "c", header)
    found += compile_alone(options.cxx, "c++11", "c++", header)
    print(
        "\n".join(found) if found else f"{len(declared)} functions: header, list and library agree."
    )
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
