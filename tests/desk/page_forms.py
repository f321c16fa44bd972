"""What a browser would send for a form of a page, read with the standard library's parser."""

from __future__ import annotations

from html.parser import HTMLParser

from sideoats.desk.forms import MARK


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[dict[str, str | None], dict[str, str]]] = []
        self.select: str | None = None
        self.area: str | None = None
        self.bare = False  # an option without a value stands for its text

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        name = told.get("name") or ""
        if tag == "form":
            self.forms.append((told, {}))
        if not self.forms:
            return
        values = self.forms[-1][1]
        if tag == "input" and name:
            if told.get("type") in ("radio", "checkbox"):
                if "checked" in told:
                    values[name] = told.get("value") or ""
            elif told.get("type") != "file":
                values[name] = told.get("value") or ""
        elif tag == "select" and name:
            self.select = name
            values.setdefault(name, "\0")
        elif tag == "option" and self.select:
            self.bare = "value" not in told and ("selected" in told or values[self.select] == "\0")
            if "value" in told and ("selected" in told or values[self.select] == "\0"):
                values[self.select] = told.get("value") or ""
        elif tag == "textarea" and name:
            self.area = name
            values[name] = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self.select = None
        elif tag == "textarea":
            self.area = None

    def handle_data(self, data: str) -> None:
        if self.select and self.bare:
            self.forms[-1][1][self.select] = data.strip()
            self.bare = False
        if self.area:
            self.forms[-1][1][self.area] += data


def form_of(page: str, action: str) -> dict[str, str]:
    """The values of the first form whose action begins with `action`, the mark taken off the names of boxes.

    The desk takes a box by its bare name too, so that a test may write ``{**form, "price": "4"}``.
    """
    parser = _Forms()
    parser.feed(page)
    found = next(values for told, values in parser.forms if (told.get("action") or "").startswith(action))
    return {name.removeprefix(MARK): value for name, value in found.items()}
