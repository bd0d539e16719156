"""The screen of the devices that are let in; 127.0.0.2 stands for the home network."""

import os
import re
import shutil
import subprocess

import pytest
from playwright.sync_api import expect

from api.render.network_json import NetworkResponse
from api.render.qr_code import qr_svg
from config.file.loader import load_site
from tests.api.browser import browsing, needs_chromium
from tests.api.lines import LONG_S
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_sign_in import PHONE

PATH = "/garden/devices"
HOME = "http://192.168.1.20:8010/"
CODE = re.compile(r"[2-9A-Z]{4}-[2-9A-Z]{4}-[2-9A-Z]{4}")


@pytest.fixture
def open_house(house):
    """The house, whose page the home network reaches."""
    found = NetworkResponse(board="http://127.0.0.1:8010/", home=[HOME], encrypted=False, faults=[])
    house.app.state.context.network = lambda: found
    return house


def make_code(house, **fields):
    form = screen(house, PATH).form("/garden/devices/code")
    answer = send(house, form, fields=fields)
    assert answer.status_code == 200, answer.text
    return answer.text, CODE.search(Screen(answer.text).text)[0]


def let_in(house, code, name="kitchen phone"):
    fields = {"to": "/", "code": code, "name": name}
    headers = {"accept": "text/html", "origin": "http://127.0.0.1:8010"}
    answer = house.ask("POST", "/sign-in", data=fields, headers=headers, peer=PHONE)
    assert answer.status_code == 303, answer.text
    return {"cookie": answer.headers["set-cookie"].partition(";")[0]}


def test_a_code_lets_a_phone_in_and_it_can_be_shut_out(open_house):
    """The code is shown once with where to type it; the phone is listed, and out again by one button."""
    assert "No device is let in yet." in screen(open_house, PATH).text
    html, code = make_code(open_house)
    assert f"until 21:40. Point the phone's camera at the picture, or open {HOME}sign-in" in Screen(html).text
    assert code not in screen(open_house, PATH).text
    cookie = let_in(open_house, code)
    seen = screen(open_house, PATH)
    assert "1 device is let in." in seen.text
    assert "kitchen phone may read and switch everything; let in on 21 June 2027" in seen.text
    there = screen(open_house, PATH, headers=cookie, peer=PHONE)
    assert "kitchen phone (this device)" in there.text
    out = next(each for each in seen.forms if each["action"].endswith("/out"))
    assert send(open_house, out).status_code == 303
    assert "No device is let in yet." in screen(open_house, PATH).text
    answer = open_house.ask("GET", PATH, headers={"accept": "text/html", **cookie}, peer=PHONE)
    assert answer.headers["location"] == "/sign-in?to=/garden/devices"


def test_a_device_may_be_named_and_kept_from_switching(open_house):
    """What is chosen with the code counts; such a device sees the list, and no button."""
    _, code = make_code(open_house, name="hall tablet", may="read")
    cookie = let_in(open_house, code, name="another")
    seen = screen(open_house, PATH, headers=cookie, peer=PHONE)
    assert "hall tablet (this device) may read everything, and switch nothing" in seen.text
    assert {each["action"] for each in seen.forms} == {"/language", "/sign-out"}


def test_a_name_that_cannot_be_is_refused_with_words(house):
    """The board's own names are taken."""
    form = screen(house, PATH).form("/garden/devices/code")
    answer = send(house, form, fields={"name": "this board"})
    assert answer.status_code == 422
    assert "choose another name" in Screen(answer.text).text
    assert CODE.search(Screen(answer.text).text) is None


def test_a_board_that_nobody_reaches_says_so_and_opens_by_a_button(house):
    """The button writes the site file, its comments kept, and another closes it again."""
    seen = screen(house, PATH)
    assert "No other device reaches this page Only this board itself does." in seen.text
    assert send(house, seen.form("/garden/devices/open")).status_code == 303
    assert load_site(house.site_path).site.network.listen == house.gateway.site.network.listen == "home"
    assert "# the long one" in house.site_path.read_text("utf-8")
    assert "Only this board itself does." not in screen(house, PATH).text


def test_what_plain_http_means_is_said(open_house):
    """It is said once, where the addresses are; and the page can be closed to the network again."""
    seen = screen(open_house, PATH)
    assert seen.text.count("plain http") == 1
    assert HOME in seen.text


@pytest.mark.skipif(
    shutil.which("zbarimg") is None and not os.environ.get("CI"), reason="no zbarimg (zbar-tools) here"
)
@needs_chromium
def test_the_picture_is_read_by_a_camera(open_house, tmp_path):
    """Another program reads the address from the picture, with the code behind “#”."""
    html, code = make_code(open_house)
    assert qr_svg(f"{HOME}sign-in#code={code}") in html
    with browsing() as (page, _):
        page.set_content(f'<div style="width:240px">{qr_svg(f"{HOME}sign-in#code={code}")}</div>')
        page.screenshot(path=tmp_path / "code.png")
    found = subprocess.run(
        ["zbarimg", "-q", "--raw", tmp_path / "code.png"], capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == f"{HOME}sign-in#code={code}"


@needs_chromium
def test_the_code_is_filled_in_and_taken_out_of_the_address(server):
    """What came behind “#” stands in the field, and neither in the address nor in the history."""
    with browsing() as (page, complaints):
        page.goto(f"{server.url}sign-in?to=/#code=7K4M-2W9R-3H6X")
        expect(page.locator("#code")).to_have_value("7K4M-2W9R-3H6X", timeout=LONG_S * 1000)
        assert page.url == f"{server.url}sign-in?to=/"
        page.goto(f"{server.url}sign-in#code=%3Cb%3E")
        expect(page.locator("#code")).to_have_value("")
        assert complaints == []
