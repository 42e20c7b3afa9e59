"""The form as one file for a telephone without the computer: works without a network, saves visit.json."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from burden.page.app import FORM_SCRIPTS, STATIC, in_page
from burden.page.catalogue import say, texts
from burden.page.facts import form_facts, sheet_facts
from burden.utils.errors import InputError, Problem

__all__ = ["form_of_visit_file", "sheet_html"]

_MOST_BYTES = 2_000_000


def sheet_html() -> str:
    """Return the form as one page with all it needs inside.

    Notes
    -----
    Its content policy names the digest of its one script and its one style, so nothing else in it can run and nothing
    can be fetched or sent.
    """
    style = (STATIC / "page.css").read_text(encoding="utf-8")
    script = "\n".join((STATIC / name).read_text(encoding="utf-8") for name in FORM_SCRIPTS)
    script = script.replace("</", "<\\/")
    policy = f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; img-src data:"
    facts = {**form_facts(), **sheet_facts(), "sheet": True, "case": None, "folder": "sheet"}
    return (
        f'<!DOCTYPE html>\n<html lang="{say("language")}">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        f"<title>{say('frame.new_title')} · burden</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f'<main id="content">\n<h1>{say("frame.new_title")}</h1>\n<div id="form"></div>\n</main>\n'
        f"<footer>{say('frame.licence')}</footer>\n"
        f'<script type="application/json" id="text">{in_page(texts())}</script>\n'
        f'<script type="application/json" id="facts">{in_page(facts)}</script>\n'
        f"<script>{script}</script>\n</body>\n</html>\n"
    )


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}"


def form_of_visit_file(data: bytes, name: str) -> Mapping[str, Any]:
    """Return the form that a sheet saved.

    Raises
    ------
    InputError
        For a file that no sheet saved, or one with counts still open.
    """
    try:
        found = json.loads(data.decode("utf-8")) if len(data) <= _MOST_BYTES else None
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or found.get("burden_visit") != 1 or not isinstance(found.get("form"), dict):
        fix = "Save it again from the sheet that `burden open --sheet` makes."
        raise InputError([Problem(name, "file", "no visit", "a visit.json of the sheet", fix)])
    if left := found.get("open"):
        places = [" ".join(str(part) for part in one.get("path", [])) for one in left if isinstance(one, dict)]
        fix = "Fill it in on the sheet, or take the file in on the page and fill it in there."
        raise InputError([Problem(name, place, "empty", "a figure", fix) for place in places] or [])
    return dict(found["form"])
