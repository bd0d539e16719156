"""Screens as a test reads them: their text and forms, which are sent as a browser without scripts would."""

from __future__ import annotations

from html.parser import HTMLParser

FORM = {"content-type": "application/x-www-form-urlencoded"}


class Screen(HTMLParser):
    """The text of a screen, and its forms with their fields and buttons."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.forms: list[dict] = []
        self._quiet = 0
        self._select = ""
        self.feed(html)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def form(self, action: str, number: int = 0) -> dict:
        return [each for each in self.forms if each["action"] == action][number]

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if tag in ("style", "script", "title"):
            self._quiet += 1
        if tag == "form":
            self.forms.append({"action": found["action"], "fields": {}, "buttons": []})
        elif tag in ("input", "textarea") and self.forms:
            if found.get("type") != "checkbox" or "checked" in found:
                self.forms[-1]["fields"][found["name"]] = found.get("value", "")
        elif tag == "select" and self.forms:
            self._select = found["name"]
        elif tag == "option" and self.forms:
            # The first one counts where none is selected.
            if "selected" in found or self._select not in self.forms[-1]["fields"]:
                self.forms[-1]["fields"][self._select] = found["value"]
        elif tag == "button" and self.forms:
            self.forms[-1]["buttons"].append((found.get("name"), found.get("value")))

    def handle_endtag(self, tag):
        if tag in ("style", "script", "title"):
            self._quiet -= 1

    def handle_data(self, data):
        if not self._quiet:
            self.words.append(data)


def screen(house, path="/", **more) -> Screen:
    """Open a screen."""
    headers = {"accept": "text/html", "accept-language": "en-GB", **more.pop("headers", {})}
    response = house.ask("GET", path, headers=headers, **more)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    return Screen(response.text)


def send(house, form: dict, button=None, **more):
    """Send a form as a browser without scripts does, and give the answer."""
    fields = dict(form["fields"])
    fields.update(more.pop("fields", {}))
    if button is not None:
        fields[button[0]] = button[1]
    headers = {"accept": "text/html", "accept-language": "en-GB", **more.pop("headers", {})}
    return house.ask("POST", form["action"], data=fields, headers=headers, **more)
