#!/usr/bin/env python3
"""Writes a C header to standard output with its plain comments marked up for Doxygen.

Usage: header_for_doxygen.py HEADER

The header is meant to be read as it is, so its comments are prose in a fixed form. Here the form becomes
markup: a rule with a title begins a group; a comment right before a declaration, or behind an
enumerator, describes it; lines "name  text", indented if they go on, describe parameters; paragraphs
that begin with Errors, Complexity or Threads get these as headings. What holds for the same parameter of
every function is said at the top of the header and added to each. Doxygen then complains of whatever
has no description, or describes a parameter that does not exist.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

# Described once, at the top of the header.
EVERYWHERE = {
    "model": "The model that is asked.",
    "job": "The job; documents are texts.",
    "journal": "The journal.",
    "error": "Gets a new error if the call fails and this is not NULL; free it with faultloom_error_free().",
    "capacity": "Number of elements there is room for; 0 asks for their number alone.",
    "needed": "Gets the number of elements there are.",
    "text": "The text; may be NULL.",
    "status": "A status.",
}
RULE = re.compile(r"/\* -{4} (?P<title>.+?)\.? -+ \*/|/\* -{4} (?P<more>.+?\.) .*?-+ \*/")
COMMENT = re.compile(r"/\*(?P<body>(?:(?!\*/).)*)\*/", re.DOTALL)
PARAMETER = re.compile(r"^(?P<name>[a-z_]+) {2,}(?P<text>\S.*)$")
HEADING = re.compile(r"^(Errors|Complexity|Threads)\b[.:]?\s*")
FUNCTION = re.compile(r"FAULTLOOM_API\b[^;(]*?\b(?P<name>\w+)\s*\((?P<parameters>[^;]*)\)\s*;")
CALLBACK = re.compile(r"typedef\b[^;(]*\(\*\w+\)\s*\((?P<parameters>[^;]*)\)\s*;")


def escaped(text: str) -> str:
    """Text that Doxygen takes as it is, but for names of functions, which become links."""
    return re.sub(r"([\\@<>&#%$\"~])", r"\\\1", text)


def lines_of(body: str) -> list[str]:
    """The lines of a comment without their stars."""
    return [re.sub(r"^\s*\* ?", "", line).rstrip() for line in body.strip("\n").splitlines()]


def parameter_names(parameters: str) -> list[str]:
    """Names of the parameters of a declaration."""
    names = [re.findall(r"\w+", part)[-1] for part in parameters.split(",")]
    return [] if names == ["void"] else names


def described(body: str, parameters: list[str]) -> str:
    """The markup of one comment."""
    out: list[str] = []
    seen: set[str] = set()
    inside = ""
    for line in lines_of(body):
        if match := PARAMETER.match(line):
            seen.add(match["name"])
            out.append(f"@param {match['name']} {escaped(match['text'])}")
            inside = "parameter"
        elif inside == "parameter" and line.startswith("  "):
            out.append(escaped(line.strip()))
        elif match := HEADING.match(line):
            inside = match[1]
            out += ["", f"@par {match[1]}", escaped(line[match.end() :])]
        elif inside == "Errors" and re.match(r"\s+FAULTLOOM_E_", line):
            out.append("@n " + escaped(line.strip()))
        elif not line:
            inside = ""
            out.append("")
        else:
            inside = "" if inside == "parameter" else inside
            out.append(escaped(line.strip()))
    for name in parameters:
        if name in seen:
            continue
        text = EVERYWHERE.get(name, "")
        owner = name.removesuffix("_size")
        if owner != name:
            text = f"Size of {owner} in bytes."
        if name.endswith("_count"):
            text = f"How many there are of {name.removesuffix('_count')}."
        if text:
            out.append(f"@param {name} {text}")
    return "/** " + "\n".join(out).strip() + " */"


def marked_up(header: str) -> str:
    """The whole header, marked up."""
    out: list[str] = []
    at = 0
    groups = 0
    for match in COMMENT.finditer(header):
        out.append(header[at : match.start()])
        at = match.end()
        rule = RULE.fullmatch(match.group())
        rest = header[at:]
        before = header[: match.start()].rpartition("\n")[2]
        if match.start() == 0:
            name = "\n".join(escaped(line) for line in lines_of(match["body"]))
            out.append(f"/** @file\n{name} */")
        elif rule:
            title = rule["title"] or rule["more"]
            close = "/** @} */\n" if groups else ""
            groups += 1
            out.append(f"{close}/** @defgroup part{groups} {title}\n@{{ */")
        elif before.strip():
            out.append(f"/**< {escaped(match['body'].strip())} */")
        elif function := FUNCTION.match(rest.lstrip()):
            out.append(
                described(match["body"], parameter_names(function["parameters"]))
                + "\n"
                + returned(function.group())
            )
        elif callback := CALLBACK.match(rest.lstrip()):
            out.append(described(match["body"], parameter_names(callback["parameters"])))
        elif re.match(r"\n(typedef|enum|#define)\b", rest):
            out.append(described(match["body"], []))
        else:
            out.append(match.group())
    text = "".join(out) + header[at:]
    return (
        text.replace("#ifdef __cplusplus\n}", "/** @} */\n#ifdef __cplusplus\n}")
        if groups
        else text
    )


def returned(declaration: str) -> str:
    """What a function returns, where the type says it."""
    if re.match(r"FAULTLOOM_API\s+void\b", declaration):
        return ""
    if re.match(r"FAULTLOOM_API\s+faultloom_status\b", declaration) and "error**" in declaration:
        return "/** @return FAULTLOOM_OK or one of the errors. */"
    return "/** @return As described. */"


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    sys.stdout.write(marked_up(Path(arguments[0]).read_text(encoding="utf-8")))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
