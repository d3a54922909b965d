#!/usr/bin/env python3
"""Checks that lib and capi neither print, end the process, draw hidden random numbers, touch files nor
keep state. Only lib/faultloom/storage may touch files.

Usage: check_bans.py PROJECT_FOLDER

A library inside somebody else's program must not do any of these behind its back. Variables that are
changed after start-up are found by their declaration: at namespace scope everything must be const or
constexpr, inside functions and classes everything that is static must be.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

SUFFIXES = {".cpp", ".hpp", ".h", ".def"}

BANNED = {
    r"\bstd\s*::\s*(cout|cerr|clog|wcout|wcerr)\b": "prints",
    r"(?<![\w.>])(printf|fprintf|vprintf|vfprintf|puts|fputs|putchar|perror)\s*\(": "prints",
    r"\bfmt\s*::\s*print\w*\s*\(": "prints",
    r"(?<![\w.>])(exit|_exit|_Exit|quick_exit|abort|terminate)\s*\(": "ends the process",
    r"(?<![\w.>])(rand|srand|random|drand48)\s*\(": "draws hidden random numbers",
    r"\brandom_device\b": "draws numbers that can't be repeated",
    r"\bthread_local\b": "keeps state",
    r"\b(TODO|FIXME|XXX)\b": "is unfinished",
}

# Allowed in this module alone.
STORAGE = Path("lib") / "faultloom" / "storage"
FILE_ACCESS = {
    r"\b(i|o)?fstream\b": "touches files",
    r"\bfilesystem\b": "touches files",
    r"(?<![\w.>])(fopen|freopen|tmpfile|mkstemp)\s*\(": "touches files",
    r"(?<![\w>])(::\s*)(open|openat|creat|unlink|rename|link|truncate|mkdir)\s*\(": "touches files",
    r"(?<![\w.>])getenv\s*\(": "reads the environment",
}

LITERAL_OR_COMMENT = re.compile(
    r'R"(?P<tag>[^\s()\\]{0,16})\(.*?\)(?P=tag)"'
    r'|"(?:\\.|[^"\\\n])*"'
    r"|(?<![0-9a-fA-F])'(?:\\.|[^'\\\n])+'"
    r"|//[^\n]*|/\*.*?\*/",
    re.DOTALL,
)

# A statement with one of these words first declares no variable.
NO_VARIABLE = re.compile(
    r"^(using|typedef|friend|static_assert|namespace|enum|class|struct|union|template|concept"
    r"|public|private|protected|return|if|else|for|while|switch|case|default|do|goto|throw|break"
    r"|continue|co_\w+|requires|operator|asm)\b"
)
IMMUTABLE = re.compile(r"\b(const|constexpr)\b")


def blank(match: re.Match[str]) -> str:
    """Replaces a literal or comment, keeping the lines."""
    text = match.group()
    filler = "" if text.startswith(("//", "/*")) else '""'
    return filler + "\n" * text.count("\n")


def without_directives(code: str) -> str:
    """Blanks preprocessor lines together with their continuations."""
    directive = re.compile(r"^[ \t]*#(?:[^\n]*\\\n)*[^\n]*", re.MULTILINE)
    return directive.sub(lambda m: "\n" * m.group().count("\n"), code)


def is_immutable(declaration: str) -> bool:
    """Whether the variable itself is const: for a pointer only `* const` counts."""
    declarator = declaration.split("=", 1)[0]
    if "constexpr" in declarator:
        return True
    if "*" in re.sub(r"<[^<>]*>", "", declarator):
        return re.search(r"\*\s*const\b", declarator) is not None
    return IMMUTABLE.search(declarator) is not None


def declares_variable(statement: str) -> bool:
    """Whether a statement at namespace scope looks like the definition of a variable."""
    head = re.sub(r"\[\[.*?\]\]", "", statement).strip()
    head = re.sub(r"^((inline|static|extern)\s+)+", "", head)
    if not head or NO_VARIABLE.match(head) or '""' in head.split("=", 1)[0]:
        return False
    if re.search(r"\boperator\b", head):
        return False
    if "(" in head.split("=", 1)[0]:
        return False
    return (
        re.match(r"^[\w:<>,\s*&]+\s[*&]*\w+(\s*\[[^\]]*\])*\s*(=.*)?$", head, re.DOTALL) is not None
    )


def mutable_state(code: str) -> list[tuple[int, str]]:
    """(line, declaration) of variables that live as long as the process and can change."""
    found = []
    scopes = ["namespace"]
    interrupted: list[str] = []  # statements that go on after a braced initialiser
    statement = ""
    start = line = 1

    def finish() -> None:
        text = re.sub(r"^(public|private|protected)\s*:\s*", "", " ".join(statement.split()))
        outside = all(scope == "namespace" for scope in scopes)
        static = re.match(r"^(inline\s+)?static\b", text) is not None
        if outside:
            suspect = declares_variable(text)
        else:
            suspect = static and declares_variable(text)
        if suspect and not is_immutable(text):
            found.append((start, text))

    for character in without_directives(code):
        if character == "\n":
            line += 1
        if character == "{":
            text = " ".join(statement.split())
            if re.match(r'^(inline )?namespace\b|^extern ""', text):
                scopes.append("namespace")
            elif re.search(r"\b(class|struct|union|enum)\b", text) and "(" not in text:
                scopes.append("class")
            elif text and "(" not in text and not re.match(r"(do|else|try)$", text):
                scopes.append("initialiser")
                interrupted.append(statement)
            else:
                scopes.append("body")
            statement = ""
        elif character == "}":
            closed = scopes.pop() if len(scopes) > 1 else "namespace"
            statement = interrupted.pop() if closed == "initialiser" else ""
        elif character == ";":
            finish()
            statement = ""
        else:
            if not statement.strip():
                start = line
            statement += character
    return found


def problems_in(file: Path, *, files_allowed: bool = False) -> list[str]:
    """The banned things in one file, as printable lines."""
    text = file.read_text(encoding="utf-8")
    code = LITERAL_OR_COMMENT.sub(blank, text)
    found = []
    banned = BANNED if files_allowed else {**BANNED, **FILE_ACCESS}
    for pattern, why in banned.items():
        searched = text if "TODO" in pattern else code
        for match in re.finditer(pattern, searched):
            line = searched.count("\n", 0, match.start()) + 1
            found.append(f"{file}:{line}: '{match.group().rstrip('(').strip()}' {why}")
    for line, declaration in mutable_state(code):
        found.append(f"{file}:{line}: '{declaration}' can change during the run")
    return found


def check(project: Path) -> list[str]:
    """All banned things in the sources of the library and the C interface."""
    found = []
    for folder in ("lib", "capi"):
        for file in sorted((project / folder).rglob("*")):
            if file.suffix in SUFFIXES:
                allowed = file.is_relative_to(project / STORAGE)
                found += problems_in(file, files_allowed=allowed)
    return found


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    found = check(Path(arguments[0]))
    print("\n".join(found) if found else "Nothing banned in lib and capi.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
