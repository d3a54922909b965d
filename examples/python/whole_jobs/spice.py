"""ngspice as a shared library: one circuit at a time, its operating point and nothing else."""

from __future__ import annotations

import ctypes
import ctypes.util
from collections.abc import Sequence

OPTIONS = ".options gmin=1e-30 pivrel=0.9 pivtol=1e-30 reltol=1e-10 vntol=1e-15 abstol=1e-18"
"""ngspice adds gmin and pivots loosely by default; both cost the digits of a network whose
conductances span twelve decades."""


class SpiceError(RuntimeError):
    """ngspice is missing, refuses a deck or finds no operating point."""


class _Value(ctypes.Structure):
    _fields_ = (
        ("name", ctypes.c_char_p),
        ("creal", ctypes.c_double),
        ("cimag", ctypes.c_double),
        ("is_scale", ctypes.c_bool),
        ("is_complex", ctypes.c_bool),
    )


class _Values(ctypes.Structure):
    _fields_ = (
        ("count", ctypes.c_int),
        ("index", ctypes.c_int),
        ("values", ctypes.POINTER(ctypes.POINTER(_Value))),
    )


_ON_TEXT = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p)
_ON_EXIT = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.c_int, ctypes.c_bool, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p
)
_ON_DATA = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(_Values), ctypes.c_int, ctypes.c_int, ctypes.c_void_p
)
_ON_VECTORS = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p)
_ON_BACKGROUND = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_bool, ctypes.c_int, ctypes.c_void_p)


class Spice:
    """The simulator of this process; ngspice has one, so make one object per process.

    Raises:
        SpiceError: The shared library of ngspice is not installed.
    """

    def __init__(self) -> None:
        name = ctypes.util.find_library("ngspice")
        if name is None:
            message = "libngspice was not found; install the package libngspice0"
            raise SpiceError(message)
        self._library = ctypes.CDLL(name)
        self._log: list[str] = []
        self._values: dict[str, float] = {}
        self._loaded = False
        # The callbacks must live as long as the library may call them.
        self._callbacks = (
            _ON_TEXT(self._on_text),
            _ON_TEXT(lambda *_: 0),
            _ON_EXIT(lambda *_: 0),
            _ON_DATA(self._on_data),
            _ON_VECTORS(lambda *_: 0),
            _ON_BACKGROUND(lambda *_: 0),
        )
        self._library.ngSpice_Init(*self._callbacks, None)

    def _on_text(self, text: bytes, _number: int, _user: int | None) -> int:
        if text.startswith(b"stderr"):
            self._log.append(text.decode(errors="replace"))
        return 0

    def _on_data(self, data: ctypes._Pointer[_Values], *_: object) -> int:
        block = data.contents
        self._values = {}
        for i in range(block.count):
            value = block.values[i].contents
            self._values[value.name.decode()] = value.creal
        return 0

    def _command(self, text: str) -> None:
        if self._library.ngSpice_Command(text.encode()) != 0:
            message = f"ngspice fails at '{text}': {' '.join(self._log)}"
            raise SpiceError(message)

    def load(self, lines: Sequence[str]) -> None:
        """Takes a deck, title first, without `.op` and `.end`, in place of the one before.

        Raises:
            SpiceError: ngspice refuses it.
        """
        self.unload()
        self._log.clear()
        deck = [line.encode() for line in (*lines, OPTIONS, ".end")]
        array = (ctypes.c_char_p * (len(deck) + 1))(*deck, None)
        if self._library.ngSpice_Circ(array) != 0:
            message = f"ngspice refuses the deck: {' '.join(self._log)}"
            raise SpiceError(message)
        self._loaded = True

    def unload(self) -> None:
        """Forgets the circuit."""
        if self._loaded:
            self._command("remcirc")
            self._loaded = False

    def alter(self, device: str, value: float) -> None:
        """Gives a resistor or source of the circuit another value."""
        self._command(f"alter {device} = {value:.17g}")

    def operating_point(self) -> dict[str, float]:
        """Volts by node and amps by source (`v_name#branch`) at rest; node 0 is left out.

        Raises:
            SpiceError: There is none.
        """
        self._values = {}
        self._log.clear()
        self._command("op")
        self._command("destroy all")
        if not self._values:
            message = f"ngspice finds no operating point: {' '.join(self._log)}"
            raise SpiceError(message)
        return self._values
