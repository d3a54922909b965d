#!/usr/bin/env python3
"""Checks that the modules of lib/faultloom include only the modules below them.

Usage: check_include_edges.py PROJECT_FOLDER
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

# Module -> the modules whose headers it may include, beside its own.
ALLOWED: dict[str, set[str]] = {
    "base": set(),
    "vehicle": {"base"},
    "circuit": {"base", "vehicle"},
    "readings": {"base", "vehicle", "circuit"},
    "rates": {"base", "vehicle"},
    "belief": {"base", "vehicle", "circuit", "readings", "rates"},
    "advice": {"base", "vehicle", "circuit", "readings", "rates", "belief"},
    "learning": {"base", "vehicle", "circuit", "readings", "rates", "belief", "advice"},
    "fleet": {"base", "vehicle", "circuit", "readings", "rates", "belief", "advice", "learning"},
}
ALLOWED["report"] = set(ALLOWED)
# A journal's bytes and the files they are in know nothing of what they hold.
ALLOWED["journal"] = {"base"}
ALLOWED["storage"] = {"base"}
ALLOWED["documents"] = set(ALLOWED)

INCLUDE = re.compile(r'^\s*#\s*include\s*([<"])([^>"]+)[>"]')
SUFFIXES = {".cpp", ".hpp", ".h", ".def"}


def problems_in(file: Path, library: Path) -> list[str]:
    """The forbidden includes of one file, as printable lines."""
    module = file.relative_to(library).parts[0]
    if module not in ALLOWED:
        return [f"{file}: '{module}' is not a module of the library"]
    found = []
    for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), 1):
        match = INCLUDE.match(line)
        if not match:
            continue
        quote, name = match.groups()
        where = f"{file}:{number}: "
        parts = name.split("/")
        if quote == '"' and parts[0] != "faultloom":
            found.append(where + f'write <faultloom/{module}/...> instead of "{name}"')
        if parts[0] != "faultloom":
            continue
        target = parts[1]
        if target != module and target not in ALLOWED[module]:
            found.append(where + f"{module} may not include {target} ({name})")
    return found


def check(project: Path) -> list[str]:
    """All forbidden includes below PROJECT/lib/faultloom."""
    library = project / "lib" / "faultloom"
    found = []
    for file in sorted(library.rglob("*")):
        if file.suffix in SUFFIXES:
            found += problems_in(file, library)
    return found


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    found = check(Path(arguments[0]))
    print("\n".join(found) if found else "Include edges follow the module order.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
