"""The reference job through the C interface, with ctypes. See ../README.md for what is written."""

from __future__ import annotations

import sys
from ctypes import (
    CDLL,
    CFUNCTYPE,
    POINTER,
    byref,
    c_char_p,
    c_double,
    c_int32,
    c_size_t,
    c_uint32,
    c_void_p,
    string_at,
)
from pathlib import Path

ProgressFn = CFUNCTYPE(c_int32, c_double, c_void_p)
NO_WATCHER = ProgressFn()
ASK = [c_void_p, c_char_p, c_size_t, c_char_p, c_size_t, ProgressFn, c_void_p, c_void_p, c_void_p]
SIGNATURES = {
    "abi_version": (c_uint32, []),
    "version": (c_char_p, []),
    "status_name": (c_char_p, [c_int32]),
    "error_code": (c_int32, [c_void_p]),
    "error_message": (c_char_p, [c_void_p]),
    "error_pointer": (c_char_p, [c_void_p]),
    "error_details": (c_char_p, [c_void_p]),
    "error_free": (None, [c_void_p]),
    "text_data": (c_void_p, [c_void_p]),
    "text_size": (c_size_t, [c_void_p]),
    "text_free": (None, [c_void_p]),
    "model_from_json": (
        c_int32,
        [c_char_p, c_size_t] * 5 + [ProgressFn, c_void_p, c_void_p, c_void_p],
    ),
    "model_free": (None, [c_void_p]),
    "terminal_count": (c_int32, [c_void_p, POINTER(c_size_t), c_void_p]),
    "terminal_name": (c_int32, [c_void_p, c_size_t, POINTER(c_char_p), c_void_p]),
    "terminal_volts": (
        c_int32,
        [c_void_p, c_char_p, c_size_t, POINTER(c_double), c_size_t, POINTER(c_size_t), c_void_p],
    ),
    "mode_count": (c_int32, [c_void_p, POINTER(c_size_t), c_void_p]),
    "mode_name": (c_int32, [c_void_p, c_size_t, POINTER(c_char_p), c_void_p]),
    "mode_posteriors": (
        c_int32,
        [c_void_p, c_char_p, c_size_t, ProgressFn, c_void_p]
        + [POINTER(c_double), c_size_t, POINTER(c_size_t), c_void_p],
    ),
    "rank": (c_int32, ASK),
    "next_step": (c_int32, ASK),
}


class Refused(Exception):
    """A call failed: (status, name, message, pointer, details)."""


class Library:
    """The functions of the library, each under its name without the prefix."""

    def __init__(self, path: str) -> None:
        self.loaded = CDLL(path)
        for name, (result, arguments) in SIGNATURES.items():
            function = getattr(self.loaded, f"faultloom_{name}")
            function.restype, function.argtypes = result, arguments
            setattr(self, name, function)

    def call(self, name: str, *arguments: object) -> None:
        """A call that may fail; its error goes last and is raised."""
        error = c_void_p()
        status = getattr(self, name)(*arguments, byref(error))
        if status == 0:
            return
        reason = Refused(
            self.error_code(error),
            self.status_name(status).decode(),
            self.error_message(error).decode(),
            self.error_pointer(error).decode(),
            self.error_details(error),
        )
        self.error_free(error)
        raise reason

    def model(self, vehicle: bytes | None) -> c_void_p:
        """A new model from a vehicle and the documents that come with the library."""
        model = c_void_p()
        size = 0 if vehicle is None else len(vehicle)
        defaults = (None, 0) * 4
        self.call("model_from_json", vehicle, size, *defaults, NO_WATCHER, None, byref(model))
        return model

    def ask(
        self, name: str, model: c_void_p, job: bytes, options: bytes, watch=NO_WATCHER
    ) -> bytes:
        """The text of an answer."""
        text = c_void_p()
        self.call(name, model, job, len(job), options, len(options), watch, None, byref(text))
        value = string_at(self.text_data(text), self.text_size(text))
        self.text_free(text)
        return value

    def names(self, title: str, model: c_void_p) -> str:
        """Number of terminals or modes, the first and the last."""
        count, name = c_size_t(), c_char_p()
        self.call(f"{title}_count", model, byref(count))
        words = [f"{title}s", str(count.value)]
        for index in (0, count.value - 1):
            self.call(f"{title}_name", model, index, byref(name))
            words.append(name.value.decode())
        return " ".join(words)

    def array(self, name: str, *arguments: object) -> list[float]:
        """All elements of an array function."""
        needed = c_size_t()
        self.call(name, *arguments, None, 0, byref(needed))
        values = (c_double * needed.value)()
        self.call(name, *arguments, values, len(values), byref(needed))
        return list(values)


def numbers(name: str, values: list[float]) -> str:
    return " ".join([name, *map(repr, values)])


def main() -> None:
    library = Library(sys.argv[1])
    vehicle, job, broken = (Path(name).read_bytes() for name in sys.argv[2:5])
    folder = Path(sys.argv[5])
    model = library.model(vehicle)
    facts = [f"version {library.version().decode()}", f"abi {library.abi_version()}"]
    facts += [library.names("terminal", model), library.names("mode", model)]
    situation = b'{"state":{"key":"on"}}'
    volts = library.array("terminal_volts", model, situation, len(situation))
    chances = library.array("mode_posteriors", model, job, len(job), NO_WATCHER, None)
    facts += [numbers("volts", volts), numbers("posteriors", chances)]

    ranking = library.ask("rank", model, job, b'{"top":10,"budget_sets":500}')
    (folder / "ranking.json").write_bytes(ranking)
    shares: list[float] = []
    watch = ProgressFn(lambda share, _: shares.append(share) or 0)
    step = library.ask("next_step", model, job, b'{"alternatives":1}', watch)
    (folder / "step.json").write_bytes(step)
    facts.append(numbers("shares", shares))

    seen: list[float] = []
    stop = ProgressFn(lambda share, _: seen.append(share) or int(len(seen) == 3))
    try:
        library.ask("next_step", model, job, b'{"alternatives":1}', stop)
    except Refused as refused:
        facts.append(f"cancelled {refused.args[0]} {len(seen)}")
    library.model_free(model)

    try:
        library.model(broken)
    except Refused as refused:
        status, name, message, pointer, details = refused.args
        facts += [f"error {status} {name} {pointer}", f"message {message}"]
        (folder / "details.json").write_bytes(details)
    try:
        library.model(None)
    except Refused as refused:
        facts.append(f"missing {refused.args[0]} {refused.args[2]}")
    (folder / "facts.txt").write_text("\n".join(facts) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
