"""Fill a form of a finished page with what was typed into it before."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser
from urllib.parse import urlsplit

Fields = Mapping[str, Sequence[str]]
Attrs = dict[str, str | None]
# What the page itself says anew, and what no page may say for somebody.
LEFT_ALONE = {"csrfmiddlewaretoken"}
NOT_FILLED = {"file", "submit", "button", "image", "reset", "password"}
# A statement that must be so at this moment is said again (see TickField).
SAID_ANEW = "data-said-anew"


@dataclass
class _Tag:
    """A start tag: where it stands, what it says, and which details it lies in."""

    name: str
    attrs: Attrs
    begin: int
    end: int
    folds: list["_Tag"]
    # Of textarea and option: where the end tag begins. Of option: the name of its select.
    close: int = 0
    of: str = ""

    def value(self, source: str) -> str:
        """Return the value of an option, by its attribute or its words."""
        said = self.attrs.get("value")
        return " ".join(source[self.end : self.close].split()) if said is None else said


@dataclass
class _Form:
    """A form and its fields."""

    tag: _Tag
    fields: list[_Tag] = field(default_factory=list)

    def leads_to(self, page: str) -> set[str]:
        """Return the paths to which it is sent."""
        targets = [self.tag.attrs.get("action"), self.tag.attrs.get("hx-post")]
        targets += [one.attrs.get("hx-post") for one in self.fields if one.name == "button"]
        found = {urlsplit(target).path for target in targets if target}
        return found if self.tag.attrs.get("action") else found | {urlsplit(page).path}

    def likeness(self, kept: Fields) -> tuple[int, int]:
        """Return how many hidden fields say the same, and how many fields are there at all."""
        named = [one for one in self.fields if (one.attrs.get("name") or one.of) in kept]
        same = [
            one
            for one in named
            if one.attrs.get("type") == "hidden" and one.attrs.get("value") in kept[one.attrs["name"] or ""]
        ]
        return len(same), len({one.attrs.get("name") or one.of for one in named})


class _Reader(HTMLParser):
    """Finds the forms of a page, and where its messages stand."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[_Form] = []
        self.messages: _Tag | None = None
        self._lines = [0]
        for line in source.split("\n"):
            self._lines.append(self._lines[-1] + len(line) + 1)
        self._folds: list[_Tag] = []
        self._form: _Form | None = None
        self._select = ""
        self._open: _Tag | None = None
        self.feed(source)
        self.close()

    def _at(self) -> int:
        line, column = self.getpos()
        return self._lines[line - 1] + column

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note forms, fields, folds and the place of messages."""
        begin = self._at()
        one = _Tag(tag, dict(attrs), begin, begin + len(self.get_starttag_text() or ""), list(self._folds))
        self._end_option(begin)
        if tag == "details":
            self._folds.append(one)
        elif tag == "form":
            self._form = _Form(one)
            self.forms.append(self._form)
        elif one.attrs.get("id") == "messages":
            self.messages = one
        if tag == "select":
            self._select = one.attrs.get("name") or ""
        if tag == "option":
            one.of = self._select
        if tag in ("textarea", "option"):
            self._open = one
        if self._form and tag in ("input", "textarea", "option", "button"):
            self._form.fields.append(one)

    def handle_endtag(self, tag: str) -> None:
        """Note where folds, forms and what has words of its own end."""
        if tag == "details" and self._folds:
            self._folds.pop()
        elif tag == "form":
            self._form = None
        elif tag in ("textarea", "option", "select"):
            self._end_option(self._at())

    def _end_option(self, at: int) -> None:
        if self._open:
            self._open.close, self._open = at, None


def refill(source: str, page: str, address: str, kept: Fields, note: str, elsewhere: str) -> str:
    """Return a page with a form filled, unfolded and led by a note; not sent by itself.

    Parameters
    ----------
    source, page : str
        the page's HTML and its address
    address : str
        path to which the form was sent
    kept : Fields
        name -> values as they were sent
    note, elsewhere : str
        HTML set into the form, and where the page says messages; where the form is not on the page (any more) the
        latter is followed by the words themselves
    """
    reader = _Reader(source)
    fitting = [form for form in reader.forms if address in form.leads_to(page) and form.likeness(kept)[1]]
    form = max(fitting, key=lambda one: one.likeness(kept), default=None)
    edits: list[tuple[int, int, str]] = []
    if form is None:
        elsewhere += _in_words(kept)
    else:
        edits = list(_edits(source, form, kept))
        edits.append((form.tag.end, form.tag.end, note))
    if reader.messages:
        edits.append((reader.messages.end, reader.messages.end, elsewhere))
    for begin, end, text in sorted(edits, reverse=True):
        source = source[:begin] + text + source[end:]
    return source


def _in_words(kept: Fields) -> str:
    said = [(name, value) for name, values in kept.items() for value in values if value and name != "key"]
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in said)
    return f'<dl class="facts">{rows}</dl>'


def _edits(source: str, form: _Form, kept: Fields) -> Iterable[tuple[int, int, str]]:
    left = {name: list(values) for name, values in kept.items()}
    folds = {fold.begin: fold for fold in form.tag.folds}
    for one in form.fields:
        name, kind = one.attrs.get("name") or one.of, (one.attrs.get("type") or "text").lower()
        if not name or name in LEFT_ALONE or one.name == "button" or kind in NOT_FILLED:
            continue
        values = kept.get(name, ())
        is_said = False
        if one.name == "option":
            is_said = one.value(source) in values
            if name in kept:
                yield one.begin, one.end, _tag(one, "selected", is_said)
        elif kind in ("checkbox", "radio"):
            if SAID_ANEW not in one.attrs:
                is_said = (one.attrs.get("value") or "on") in values
                yield one.begin, one.end, _tag(one, "checked", is_said)
        elif left.get(name):
            value = left[name].pop(0)
            is_said = bool(value) and kind != "hidden"
            if one.name == "textarea":
                yield one.end, one.close, "\n" + escape(value)
            else:
                yield one.begin, one.end, _tag(one, "value", value)
        if is_said:
            folds |= {fold.begin: fold for fold in one.folds}
    for fold in folds.values():
        yield fold.begin, fold.end, _tag(fold, "open", True)


def _tag(one: _Tag, name: str, value: str | bool) -> str:
    """Write a start tag with an attribute set, or without it where the value is False."""
    attrs = {key: said for key, said in one.attrs.items() if key != name}
    if value is not False:
        attrs[name] = None if value is True else str(value)
    said = "".join(f" {key}" if text is None else f' {key}="{escape(text)}"' for key, text in attrs.items())
    return f"<{one.name}{said}>"
