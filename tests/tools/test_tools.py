#!/usr/bin/env python3
"""Shows that the checks in this folder find what they are for: each is given a known bad source."""

from __future__ import annotations

import tempfile
import unittest
from pathlib import Path

import check_bans
import check_examples
import check_fuzz
import check_header
import check_include_edges
import header_for_doxygen
import reference


class Sources(unittest.TestCase):
    """Base of tests that write sources into a throw-away project."""

    def setUp(self) -> None:
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.project = Path(folder.name)

    def write(self, name: str, text: str) -> None:
        file = self.project / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")


class IncludeEdges(Sources):
    def found(self, module: str, text: str) -> int:
        self.write(f"lib/faultloom/{module}/file.cpp", text)
        return len(check_include_edges.check(self.project))

    def test_downwards_is_fine(self) -> None:
        text = (
            "#include <faultloom/belief/a.hpp>\n#include <faultloom/rates/b.hpp>\n#include <map>\n"
        )
        self.assertEqual(self.found("belief", text), 0)

    def test_upwards_is_found(self) -> None:
        self.assertEqual(self.found("rates", "#include <faultloom/circuit/a.hpp>\n"), 1)
        self.assertEqual(self.found("rates", "// #include <faultloom/circuit/a.hpp>\n"), 0)

    def test_documents_and_report(self) -> None:
        self.assertEqual(self.found("documents", "#include <faultloom/fleet/a.hpp>\n"), 0)
        self.assertEqual(self.found("documents", "#include <faultloom/report/a.hpp>\n"), 0)
        self.write("lib/faultloom/documents/file.cpp", "")
        self.assertEqual(self.found("report", "#include <faultloom/documents/a.hpp>\n"), 1)

    def test_relative_and_unknown(self) -> None:
        self.assertEqual(self.found("base", '#include "other.hpp"\n'), 1)
        self.write("lib/faultloom/base/file.cpp", "")
        self.assertEqual(self.found("extra", ""), 1)


class Bans(Sources):
    def found(self, text: str) -> int:
        self.write("lib/faultloom/base/file.cpp", text)
        return len(check_bans.check(self.project))

    def test_banned_calls(self) -> None:
        for line in (
            "void f() { std::cout << 1; }",
            'void f() { std::printf("x"); }',
            "void f() { std::exit(1); }",
            "void f() { abort(); }",
            "int f() { return std::rand(); }",
            "std::random_device source();",
            "// TODO later",
        ):
            self.assertEqual(self.found(line), 1, line)

    def test_harmless_look_alikes(self) -> None:
        for line in (
            'void f() { g("std::cout << printf(1)"); }  // exit(0)',
            "void f() { std::snprintf(a, b, c); }",
            "void f() { operand(1); report.exit(2); brand(3); }",
            "/* abort() */",
        ):
            self.assertEqual(self.found(line), 0, line)

    def test_files(self) -> None:
        for line in (
            "#include <string>\nvoid f() { std::ifstream file(a); }",
            "int f() { return ::open(a, b); }",
            'void f() { std::fopen("a", "r"); }',
            "bool f() { return std::filesystem::exists(a); }",
            "const char* f() { return std::getenv(a); }",
        ):
            self.assertEqual(self.found(line), 1, line)
            self.write("lib/faultloom/base/file.cpp", "")
            self.write("lib/faultloom/storage/file.cpp", line)
            expected = 1 if "getenv" in line else 0
            self.assertLessEqual(len(check_bans.check(self.project)), expected, line)
            self.write("lib/faultloom/storage/file.cpp", "")
        self.assertEqual(self.found("void f() { a.open(1); JobJournal::open(path); }"), 0)

    def test_mutable_state(self) -> None:
        for line in (
            "int counter = 0;",
            "namespace a {\nnamespace {\nstd::map<int, std::string> cache;\n}\n}",
            "static int counter;",
            "std::size_t counter = std::size_t{16} * 1024;",
            "void f() {\n  if (a) {\n  } else {\n  }\n  static int calls = 0;\n}",
            "inline std::vector<int> seen{1, 2};",
            "void f() { static int calls = 0; ++calls; }",
            "void f() {\n  static std::mutex lock;\n}",
            "struct A {\n  inline static int made = 0;\n};",
            "class A {\n public:\n  static inline int made = 0;\n};",
            'const char* name = "x";',
            "thread_local const int a = 1;",
        ):
            self.assertEqual(self.found(line), 1, line)

    def test_constants_and_functions(self) -> None:
        for line in (
            "constexpr int limit = 3;",
            "inline constexpr std::array<int, 2> pair{1, 2};",
            "const std::map<int, int> table = {{1, 2}, {3, 4}};",
            'static const char* const names[] = {"a", "b"};',
            "void f() { static const std::map<int, int> table{{1, 2}}; int local = 0; }",
            "constexpr std::size_t limit = std::size_t{16} * 1024 * 1024;",
            "struct A {\n  int field = 0;\n  static int made();\n  static constexpr int k = 1;\n};",
            "int f(int a, int b);\nint f(int a, int b) {\n  int c = a;\n  return c + b;\n}",
            "using A = int;\nenum class B { a, b };\nclass C;\ntypedef int D;",
            'extern "C" {\nint f(void);\n}',
            "template <class T>\nconcept Small = sizeof(T) < 8;",
            "const auto f = [](int a) { int b = a; return b; };",
            "A::A(int a) : b(a), c{a} {\n  int d = 1;\n}",
            "bool operator==(const A& a, const A& b) = default;",
            "#define X \\\n  int y = 0;\nint f();",
        ):
            self.assertEqual(self.found(line), 0, line)


class Header(unittest.TestCase):
    def test_declared_functions(self) -> None:
        header = """
#define FAULTLOOM_API __attribute__((visibility("default")))
/* FAULTLOOM_API int faultloom_commented(void); */
typedef int (*faultloom_fn)(double a);
FAULTLOOM_API int faultloom_one(const char* a,
                                int b);
FAULTLOOM_API const faultloom_t *
faultloom_two(void);
"""
        self.assertEqual(
            check_header.declared_functions(header), {"faultloom_one", "faultloom_two"}
        )

    def test_differences(self) -> None:
        self.assertEqual(check_header.differences("a", {"x"}, "b", {"x"}), [])
        self.assertEqual(len(check_header.differences("a", {"x"}, "b", {"y"})), 2)

    def test_stability(self) -> None:
        header = """
/* Fine. Stable. */
FAULTLOOM_API int faultloom_one(void);
/*
 * Fine too.
 * Threads: any. Experimental.
 */
FAULTLOOM_API const char* faultloom_two(int a,
                                        int b);
/* Says nothing. */
FAULTLOOM_API int faultloom_three(void);

FAULTLOOM_API int faultloom_four(void);
/* Stable. But not at the end. */
FAULTLOOM_API int faultloom_five(void);
"""
        found = [line.partition(":")[0] for line in check_header.without_stability(header)]
        self.assertEqual(found, ["faultloom_three", "faultloom_four", "faultloom_five"])
        enum = "enum a {\n  ONE = 1, /* one */\n  TWO = 2,\n  THREE = 3\n};\n"
        self.assertEqual(len(check_header.silent_enumerators(enum)), 2)

    def test_bad_header(self) -> None:
        with tempfile.TemporaryDirectory() as folder:
            header = Path(folder) / "bad.h"
            header.write_text("// not C90, fine in C99\nint f(void);;\n", encoding="utf-8")
            self.assertEqual(len(check_header.compile_alone("cc", "c99", "c", header)), 1)


class Fuzz(unittest.TestCase):
    sources = 'list = {{"one", Shape::json, 5}}; void f() { faultloom_a(); /* faultloom_b() */ }'

    def test_fine(self) -> None:
        self.assertEqual(
            check_fuzz.check("faultloom_a\n", "# x\nfaultloom_a: one\n", self.sources), []
        )

    def test_missing_function(self) -> None:
        found = check_fuzz.check("faultloom_a\nfaultloom_b\n", "faultloom_a: one\n", self.sources)
        self.assertEqual(found, ["faultloom_b: in capi/symbols.txt, not in functions.txt"])

    def test_no_call_and_unknown_harness(self) -> None:
        table = "faultloom_a:\nfaultloom_b: two\n"
        found = check_fuzz.check("faultloom_a\nfaultloom_b\n", table, self.sources)
        self.assertEqual(len(found), 4)


class Reference(unittest.TestCase):
    def marked_up(self, comment: str, declaration: str) -> str:
        return header_for_doxygen.marked_up(f"/* The file. */\n\n/*{comment}*/\n{declaration}\n")

    def test_parameters_and_headings(self) -> None:
        comment = (
            "\n * Does it.\n *\n * csv    rows, and\n *        more\n *\n"
            " * Errors: FAULTLOOM_E_SYNTAX  bad\n * Complexity: O(1). Threads: any. Stable.\n "
        )
        text = self.marked_up(
            comment, "FAULTLOOM_API faultloom_status faultloom_a(const char* csv, size_t csv_size);"
        )
        self.assertIn("@param csv rows, and\nmore", text)
        self.assertIn("@param csv_size Size of csv in bytes.", text)
        self.assertIn("@par Errors", text)
        self.assertIn("/** @file", text)

    def test_what_is_not_described_stays_so(self) -> None:
        text = self.marked_up(" Does it. ", "FAULTLOOM_API void faultloom_a(int depth);")
        self.assertNotIn("@param", text)

    def test_python(self) -> None:
        class Undescribed:
            """A thing.

            Attributes:
                known: Yes.
            """

            __dataclass_fields__ = {"known": 0, "unknown": 0}  # noqa: RUF012

            def silent(self) -> None: ...

            def described(self) -> None:
                """Does."""

        self.assertEqual(reference.undocumented("T", Undescribed), ["T.unknown", "T.silent"])


class Examples(unittest.TestCase):
    def test_blocks(self) -> None:
        text = "a\n```c\nint a;\n```\n\n```text\nout\n```\n```sh\nls\n```\n```c\nint b;\n```\nx\n"
        self.assertEqual(
            check_examples.blocks(text, "c"), [(2, "int a;\n", "out\n"), (12, "int b;\n", None)]
        )


if __name__ == "__main__":
    unittest.main()
