"""A page as it is read: tags, words, what a browser would fetch."""

from __future__ import annotations

import re
from html.parser import HTMLParser


class Reader(HTMLParser):
    """Tags with their attributes, and the words between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


def fetched(page: str) -> list[str]:
    """Everything a browser would fetch for a page: addresses in attributes and style sheets that leave it."""
    wanted = []
    for tag, attrs in Reader(page).tags:
        for name, value in attrs.items():
            if name in {"src", "srcset", "data", "poster", "action", "background"} or (
                name in {"href", "xlink:href"} and (tag != "a" or not value.startswith("#"))
            ):
                wanted.append(value or "")
    wanted += re.findall(r"@import\s+\S+", page) + re.findall(r"url\(\s*['\"]?([^)'\"]+)", page)
    return [address for address in wanted if not address.startswith("#")]
