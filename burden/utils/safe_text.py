"""What somebody wrote, made safe for the place it is shown in: a line of an answer, a terminal, JSON, a table's cell.

A title may carry escape sequences that repaint a terminal, marks that turn the order of letters round, or line ends
that forge a line of the answer; a label may be a formula to a spreadsheet.
"""

from __future__ import annotations

import re
import unicodedata

__all__ = ["cell_text", "json_text", "one_line", "shown"]

#: joiners that some scripts and pictures need: the only characters of format that stay
_JOINERS = "\u200c\u200d"
_RISKY = "=+@－＋＝＠-"
_UNSEEN = r"[\s\ufeff\u00ad\u180e\u200b-\u200f\u2028-\u202e\u2060-\u2064\u2066-\u206f\x00-\x1f\x7f-\x9f]*"
#: at the beginning, and after what ends a cell where a spreadsheet parts cells by semicolons, tabs or lines
_FORMULA = re.compile(rf"(^|[;\t\r\n])({_UNSEEN})(?=[{_RISKY}])")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")


def _unsafe(character: str) -> bool:
    """Whether a character acts on what shows it instead of being shown."""
    return unicodedata.category(character) in ("Cc", "Cf", "Cs", "Zl", "Zp") and character not in _JOINERS


def one_line(text: str) -> str:
    """Return a title, name or label as one line of letters: line ends and tabs become spaces, what acts is left out.

    Examples
    --------
    >>> one_line("Koi\\x1b[31m pond\\nDose: none\\u202e")
    'Koi[31m pond Dose: none'
    """
    if text.isprintable():
        return text
    return "".join(map(_plain, text))


def _plain(character: str) -> str:
    if "\ud800" <= character <= "\udfff":  # half a letter, as a folder's name in another alphabet is read
        return "\ufffd"
    if not _unsafe(character):
        return character
    return " " if character.isspace() else ""


def shown(text: str, lines: bool = True) -> str:
    """Return text for a terminal, what acts written out so that it is seen; line ends stay where `lines` says so.

    Examples
    --------
    >>> print(shown("key\\x1b[2J: what?", lines=False))
    key\\x1b[2J: what?
    """
    if text.isprintable():
        return text
    return "".join(
        c if not _unsafe(c) or (lines and c == "\n") or "\udc80" <= c <= "\udcff" else _escape(c) for c in text
    )


def json_text(text: str) -> str:
    """Return a JSON document in which what acts on a terminal stands as the escapes JSON knows.

    Examples
    --------
    >>> print(json_text('{"title": "\\u202epond"}'))
    {"title": "\\u202epond"}
    """
    if text.isascii():
        return text.replace("\x7f", "\\u007f")
    return "".join(c if c == "\n" or not _unsafe(c) or "\ud800" <= c <= "\udfff" else _pairs(c) for c in text)


def cell_text(text: str) -> str:
    """Return a text cell that no spreadsheet takes for a formula, whatever it parts cells by.

    Examples
    --------
    >>> cell_text("=1+1"), cell_text("-3.5"), cell_text("a; =1+1"), cell_text("\\u200b=1")
    ("'=1+1", '-3.5', "a;' =1+1", "'\\u200b=1")
    """
    return text if _NUMBER.fullmatch(text) else _FORMULA.sub(r"\1'\2", text)


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


def _pairs(character: str) -> str:
    """A character as JSON escapes it: beyond the first plane as two."""
    data = character.encode("utf-16-be")
    return "".join(f"\\u{data[i]:02x}{data[i + 1]:02x}" for i in range(0, len(data), 2))
