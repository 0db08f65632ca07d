"""File names of any bytes, as one line of plain text and back, exactly."""

from __future__ import annotations

import re

_SHORT = {"\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
_LONG = {short: exact for exact, short in _SHORT.items()}
_ESCAPED = re.compile(r"\\(?:[\\nrt]|x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})")
_BYTE_FROM = 0xDC00  # what Python adds to a byte that is no UTF-8 (PEP 383)


def shown(name: str) -> str:
    r"""Write a name on one line: what can't be printed is escaped, and the backslash doubled.

    Bytes that are no UTF-8 (surrogates, PEP 383) become ``\xNN``, other characters that can't be
    printed ``\n``, ``\r``, ``\t``, ``\uNNNN`` or ``\UNNNNNNNN``.
    """
    if name.isprintable() and "\\" not in name:
        return name
    return "".join(_shown_letter(letter) for letter in name)


def exact(text: str) -> str:
    """Give the name that `shown` wrote."""
    return _ESCAPED.sub(lambda found: _exact_letter(found.group()), text)


def _shown_letter(letter: str) -> str:
    if letter in _SHORT:
        return _SHORT[letter]
    if letter.isprintable():
        return letter
    code = ord(letter)
    if _BYTE_FROM + 0x80 <= code <= _BYTE_FROM + 0xFF:
        return f"\\x{code - _BYTE_FROM:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def _exact_letter(escaped: str) -> str:
    if escaped in _LONG:
        return _LONG[escaped]
    code = int(escaped[2:], 16)
    return chr(_BYTE_FROM + code if escaped[1] == "x" else code)
