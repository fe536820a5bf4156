"""How a text file turns into characters: by its byte order mark, or by which reading makes words.

Without a mark a file is UTF-8 where it is valid UTF-8, and UTF-16 where every second byte is zero.
Else Windows-1250 and Windows-1252 are tried: each byte beyond ASCII stands for one letter there and
another here (F5: o with a double acute, or with a tilde), and a text is in one language, so the
reading whose best single language has most of the letters is taken. Where several read equally
well, Hungarian counts first, since it is full of such letters, then the languages of 1252. A file
of which less than nine tenths make letters or signs in any language is no text.
"""

from __future__ import annotations

import codecs
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from analytics.errors import InputError

_CHUNK = 1 << 20
_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
# The letters beyond ASCII of each language, lower case, by the encoding that holds them all.
_LANGUAGES = {
    "cp1250": (
        "\u00e1\u00e9\u00ed\u00f3\u00f6\u0151\u00fa\u00fc\u0171",  # Hungarian
        "\u0105\u0107\u0119\u0142\u0144\u00f3\u015b\u017a\u017c",  # Polish
        "\u00e1\u010d\u010f\u00e9\u011b\u00ed\u0148\u00f3\u0159\u0161\u0165\u00fa\u016f\u00fd"
        "\u017e",  # Czech
        "\u00e1\u00e4\u010d\u010f\u00e9\u00ed\u013a\u013e\u0148\u00f3\u00f4\u0155\u0161\u0165"
        "\u00fa\u00fd\u017e",  # Slovak
        "\u0103\u00e2\u00ee\u015f\u0163",  # Romanian
        "\u010d\u0107\u0111\u0161\u017e",  # Croatian, Slovene
    ),
    "cp1252": (
        "\u00e4\u00f6\u00fc\u00df",  # German
        "\u00e0\u00e2\u00e6\u00e7\u00e9\u00e8\u00ea\u00eb\u00ee\u00ef\u00f4\u0153\u00f9\u00fb"
        "\u00fc",  # French
        "\u00e1\u00e9\u00ed\u00f1\u00f3\u00fa\u00fc",  # Spanish
        "\u00e1\u00e2\u00e3\u00e0\u00e7\u00e9\u00ea\u00ed\u00f3\u00f4\u00f5\u00fa",  # Portuguese
        "\u00e0\u00e8\u00e9\u00ec\u00ed\u00ee\u00f2\u00f3\u00f9\u00fa",  # Italian
        "\u00e5\u00e4\u00f6\u00e6\u00f8\u00e9",  # the Nordic languages
        "\u00e9\u00eb\u00ef\u00f3\u00f6\u00fc",  # Dutch
    ),
}
_SIGNS = (
    "\u00a0\u20ac\u201a\u201e\u2026\u2020\u2021\u2030\u2039\u2018\u2019\u201c\u201d\u2022\u2013"
    "\u2014\u2122\u203a\u00a4\u00a6\u00a7\u00a9\u00ab\u00ac\u00ad\u00ae\u00b0\u00b1\u00b4\u00b5"
    "\u00b6\u00b7\u00bb\u00d7\u00f7\u00b2\u00b3\u00b9\u00ba\u00bc\u00bd\u00be\u00bf\u00a1"
)
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\f\x1a"))
_FITTING = 0.9


def find_encoding(path: Path) -> str:
    """Return the encoding of a text file: utf-8, utf-8-sig, utf-16, utf-16-le, ..., cp1250, cp1252.

    Raises
    ------
    InputError
        If no encoding fits, naming the first line that is not UTF-8.
    """
    with path.open("rb") as file:
        start = file.read(4096)
    for mark, encoding in _MARKS.items():
        if start.startswith(mark):
            return _checked(path, encoding)
    zeros = start[0::2].count(0), start[1::2].count(0)
    for encoding, mine, other in (("utf-16-le", 1, 0), ("utf-16-be", 0, 1)):
        if zeros[mine] > len(start) * 0.3 and zeros[other] < len(start) * 0.1:
            return _checked(path, encoding)
    return "utf-8" if _is_ascii(path) or _decodes(path, "utf-8") else _of_one_byte(path)


def decode_to(path: Path, encoding: str, target: Path) -> None:
    """Write a text file again as UTF-8, a piece at a time."""
    with target.open("wb") as out:
        for text in _decoded(path, encoding):
            out.write(text.encode())


def _decoded(path: Path, encoding: str) -> Iterator[str]:
    decoder = codecs.getincrementaldecoder(encoding)()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            yield decoder.decode(chunk)
        yield decoder.decode(b"", final=True)


def _is_ascii(path: Path) -> bool:
    with path.open("rb") as file:
        return all(chunk.isascii() for chunk in iter(lambda: file.read(_CHUNK), b""))


def _decodes(path: Path, encoding: str) -> bool:
    try:
        for _ in _decoded(path, encoding):
            pass
    except UnicodeDecodeError:
        return False
    return True


def _checked(path: Path, encoding: str) -> str:
    if _decodes(path, encoding):
        return encoding
    words = "UTF-8" if encoding == "utf-8-sig" else "UTF-16"
    raise InputError(
        f"{path.name} says that it is {words} text, but holds bytes that are not: save it as CSV "
        "UTF-8."
    )


def _of_one_byte(path: Path) -> str:
    held: Counter[int] = Counter()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            held.update(chunk.translate(None, bytes(set(range(128)) - set(_CONTROLS))))
    share, _, best = max(_fits(held))
    if share < _FITTING:
        raise InputError(
            f"{path.name}, about line {_line_of_fault(path)}: this is not text in UTF-8, UTF-16, "
            "Windows-1250 or Windows-1252; save the file as CSV UTF-8."
        )
    return best


def _fits(held: Counter[int]) -> Iterator[tuple[float, int, str]]:
    """Return for each language how well it fits: the share of its letters, its rank, its encoding.

    The share is of the bytes beyond ASCII; a control character or a byte that stands for nothing
    makes it 0.
    """
    total = sum(held.values())
    for encoding, languages in _LANGUAGES.items():
        letters: Counter[str] = Counter()
        for byte, times in held.items():
            letters[bytes([byte]).decode(encoding, "replace").lower()] += times
        impossible = any(letter < " " or letter == "\ufffd" for letter in letters)
        for place, language in enumerate(languages):
            known = sum(times for letter, times in letters.items() if letter in language + _SIGNS)
            rank = 2 if encoding == "cp1250" and place == 0 else int(encoding == "cp1252")
            yield 0.0 if impossible else known / total, rank, encoding


def _line_of_fault(path: Path) -> int:
    with path.open("rb") as file:
        for number, line in enumerate(file, start=1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError:
                return number
    return 0
