"""What people read or hear on a page: its texts, and the words in its attributes."""

from html.parser import HTMLParser
from typing import Final

#: What holds no words for people, or words that are the same in every language.
SILENT: Final = ("script", "style", "template", "code", "pre", "kbd", "samp")
VOID: Final = ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr")
WORDED: Final = (
    "title",
    "aria-label",
    "aria-description",
    "aria-roledescription",
    "aria-valuetext",
    "placeholder",
    "alt",
)
#: Attributes of ours that a style sheet or a script shows.
OURS: Final = ("data-head", "data-confirm")
PRESSED: Final = ("submit", "button", "reset")


class VisibleTexts(HTMLParser):
    """Collects the visible texts of a page, each with its spaces put in order.

    An element in another language than the page's says so, as HTML does, by ``lang``; one whose words are the same in
    every language by ``translate="no"``. They are left out.
    """

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.open: list[tuple[str, bool]] = []
        self.language: str | None = None
        self.feed(page)
        self.close()

    @property
    def is_silent(self) -> bool:
        """Say whether an element around says nothing."""
        return any(silent for _tag, silent in self.open)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take the words from the attributes of an element."""
        named = dict(attrs)
        if tag == "html":
            self.language = named["lang"]
        is_other = named.get("translate") == "no" or named.get("lang", self.language) != self.language
        silent = tag in SILENT or is_other
        names = (*WORDED, *OURS, *(("value",) if tag == "input" and named.get("type") in PRESSED else ()))
        names += ("label",) if tag in ("optgroup", "option") else ()
        names += ("content",) if named.get("name") == "description" else ()
        if not silent and not self.is_silent:
            for name in names:
                self._take(named.get(name) or "")
        if tag not in VOID:
            self.open.append((tag, silent))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take the words of an element that ends where it begins, as in SVG."""
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        """Leave an element, and those in it whose end may be left out."""
        for at in range(len(self.open) - 1, -1, -1):
            if self.open[at][0] == tag:
                del self.open[at:]
                return

    def handle_data(self, data: str) -> None:
        """Take a text."""
        if not self.is_silent:
            self._take(data)

    def _take(self, text: str) -> None:
        if text := " ".join(text.split()):
            self.texts.append(text)
