"""Texts on a page: cleaned, and cut to the room there is without a browser at hand."""

from __future__ import annotations

import math
import unicodedata

# Advances of U+0020 to U+007E in DejaVu Sans 2.37 and its bold, thousandths of the em, rounded up.
# It is wider than what browsers use for sans-serif elsewhere, so what fits here fits there.
_REGULAR = (
    *(
        318,
        401,
        460,
        838,
        637,
        951,
        780,
        275,
        391,
        391,
        500,
        838,
        318,
        361,
        318,
        337,
        637,
        637,
        637,
    ),
    *(
        637,
        637,
        637,
        637,
        637,
        637,
        637,
        337,
        337,
        838,
        838,
        838,
        531,
        1000,
        685,
        687,
        699,
        771,
        632,
    ),
    *(
        576,
        775,
        752,
        295,
        295,
        656,
        558,
        863,
        749,
        788,
        604,
        788,
        695,
        635,
        611,
        732,
        685,
        989,
        686,
    ),
    *(
        611,
        686,
        391,
        337,
        391,
        838,
        500,
        500,
        613,
        635,
        550,
        635,
        616,
        353,
        635,
        634,
        278,
        278,
        580,
    ),
    *(
        278,
        975,
        634,
        612,
        635,
        635,
        412,
        521,
        393,
        634,
        592,
        818,
        592,
        592,
        525,
        637,
        337,
        637,
        838,
    ),
)
_BOLD = (
    *(349, 457, 521, 838, 696, 1002, 873, 307, 458, 458, 523, 838, 380, 416, 380, 366),
    *(696, 696, 696, 696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 581),
    *(1000, 774, 763, 734, 831, 684, 684, 821, 837, 373, 373, 775, 638, 996, 837, 851),
    *(733, 851, 771, 721, 683, 813, 774, 1104, 771, 725, 726, 458, 366, 458, 838, 500),
    *(500, 675, 716, 593, 716, 679, 436, 716, 712, 343, 343, 666, 343, 1042, 712, 688),
    *(716, 716, 494, 596, 479, 712, 652, 924, 646, 652, 583, 712, 366, 712, 838),
)
_LATIN = 1200  # the widest of Latin-1 and Latin Extended-A
_WIDEST = 2100  # of any script
_ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
# Marks that turn the direction of writing; a name must not reorder what stands around it.
_TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: object) -> str:
    """A text in one line that XML and HTML can hold: no controls, surrogates, turning marks."""
    line = " ".join(str(text).split())
    return "".join(c for c in line if c not in _TURNING and not _is_bad(c))


def _is_bad(character: str) -> bool:
    code = ord(character)
    return unicodedata.category(character) in ("Cc", "Cs") or code & 0xFFFE == 0xFFFE


def width(text: str, size: float, *, bold: bool = False) -> float:
    """At most how wide a text is at a font size; the unit is that of the size.

    Complexity: linear in the text.
    """
    advances = _BOLD if bold else _REGULAR
    return size * sum(_advance(c, advances) for c in text) / 1000


def _advance(character: str, advances: tuple[int, ...]) -> int:
    code = ord(character)
    if 0x20 <= code < 0x7F:
        return advances[code - 0x20]
    if unicodedata.combining(character):
        return 0
    return _LATIN if code < 0x180 or 0x2000 <= code < 0x2300 else _WIDEST


def fit(text: str, most: float, size: float, *, bold: bool = False) -> str:
    """The text cut to a width, with an ellipsis where something is missing; "" if nothing fits."""
    if width(text, size, bold=bold) <= most:
        return text
    room = most - width(_ELLIPSIS, size, bold=bold)
    if room < 0:
        return ""
    end, used = 0, 0.0
    while end < len(text):
        used += width(text[end], size, bold=bold)
        if used > room:
            break
        end += 1
    # A joined sign is not cut in the middle.
    while end and end < len(text) and _joins(text[end]):
        end -= 1
    return text[:end].rstrip() + _ELLIPSIS


def _joins(character: str) -> bool:
    return bool(unicodedata.combining(character)) or character in "\u200d\ufe0e\ufe0f"


def rounded(value: float) -> str:
    """A coordinate with at most one digit after the point, the same on every machine."""
    tenths = math.floor(10 * value + 0.5)
    whole, rest = divmod(abs(tenths), 10)
    return ("-" if tenths < 0 else "") + (f"{whole}.{rest}" if rest else f"{whole}")


def wrapped(words: list[str], most: float, size: float, lines: int) -> list[str]:
    """Words set in at most so many lines of a width; what is left is counted at the end."""
    rows: list[str] = []
    for place, word in enumerate(words):
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and width(longer, size) <= most:
            rows[-1] = longer
        elif len(rows) < lines:
            rows.append(fit(word, most, size))
        else:
            rows[-1] = f"+{len(words) - place + len(rows[-1].split(' '))}"
            return rows
    return rows
