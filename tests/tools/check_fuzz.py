#!/usr/bin/env python3
"""Checks that every function of the C interface has a harness.

tests/fuzz/functions.txt names the harnesses of each function in capi/symbols.txt: no function may be
missing, no harness unknown or left out, and the sources in tests/fuzz must really use each function.
"""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

import check_header


def harnesses_of(sources: str) -> set[str]:
    """Names of the harnesses that sources register."""
    return set(re.findall(r'\{\s*"(\w+)",\s*Shape::', sources))


def without_comments(sources: str) -> str:
    """C++ sources with comments taken out."""
    return re.sub(r"/\*.*?\*/|//[^\n]*", " ", sources, flags=re.DOTALL)


def check(symbols: str, table: str, sources: str) -> list[str]:
    """What does not fit together, as printable lines."""
    code = without_comments(sources)
    known = harnesses_of(code)
    rows: dict[str, list[str]] = {}
    for line in check_header.listed_symbols(table):
        function, _, names = line.partition(":")
        rows[function.strip()] = names.split()
    found = check_header.differences(
        "capi/symbols.txt", set(check_header.listed_symbols(symbols)), "functions.txt", set(rows)
    )
    named: set[str] = set()
    for function, names in rows.items():
        named.update(names)
        if not names:
            found.append(f"{function}: functions.txt names no harness")
        found += [f"{function}: there is no harness {name}" for name in names if name not in known]
        if not re.search(rf"\b{function}\b", code):
            found.append(f"{function}: no source in tests/fuzz calls it")
    return found + [f"{name}: a harness of no function" for name in sorted(known - named)]


def main() -> int:
    """Runs the check on a project."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    project = parser.parse_args().project
    folder = project / "tests" / "fuzz"
    sources = "\n".join(
        file.read_text(encoding="utf-8") for file in sorted(folder.glob("*.[ch]pp"))
    )
    found = check(
        (project / "capi" / "symbols.txt").read_text(encoding="utf-8"),
        (folder / "functions.txt").read_text(encoding="utf-8"),
        sources,
    )
    print("\n".join(found) if found else "Every function has a harness")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
