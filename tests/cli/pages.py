"""Reading a page in tests: what it says, and what it would load."""

from __future__ import annotations

from html.parser import HTMLParser


class Page(HTMLParser):
    """Texts, and everything a page would load."""

    def __init__(self, text):
        super().__init__()
        self.loads, self.texts = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.loads += [v for k, v in attrs if k in ("src", "href") and v and not v.startswith(("data:", "#"))]

    def handle_data(self, data):
        self.texts.append(data)
