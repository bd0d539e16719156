"""Reading a site file: what is no file, and that no text gets a bare error out of the reader."""

import os
import subprocess
import sys
import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.errors import SiteFileError
from config.file.loader import example_path, load_site, parse_site
from config.file.toml_editor import write_value
from tests.config.site_texts import GOOD
from tests.config.strategies import outcome_of
from tests.config.toml_texts import documents, scalars


def refusal_of(path):
    """The one line with which a file is refused."""
    with pytest.raises(SiteFileError) as caught:
        load_site(path)
    return str(caught.value)


def test_a_file_is_read_by_its_name(tmp_path):
    """Problems and warnings name the file as the person gave it."""
    path = tmp_path / "garden.toml"
    path.write_text(GOOD.replace("pin = 17", "pin = 2"))
    assert load_site(path).site.name == "Tern Cottage"
    assert load_site(str(path)).warnings[0].file == str(path)


def test_a_missing_file_is_reported(tmp_path):
    """No such file is one sentence, not a traceback."""
    path = tmp_path / "none.toml"
    assert refusal_of(path) == (
        f"{path}: there is no such file; check the path, or start from a copy of one of the examples"
    )


def test_a_folder_is_reported(tmp_path):
    """A folder is no site file."""
    assert refusal_of(tmp_path) == (
        f"{tmp_path}: is not a file; give the path of a site file, such as site.toml"
    )


def test_a_pipe_is_reported_and_not_waited_for(tmp_path):
    """A pipe that nobody writes to does not hold the program."""
    path = tmp_path / "pipe"
    os.mkfifo(path)
    assert refusal_of(path) == f"{path}: is not a file; give the path of a site file, such as site.toml"


def test_a_file_that_may_not_be_read_is_reported(tmp_path, monkeypatch):
    """Without the right to read, the remedy says how to give it."""
    path = tmp_path / "site.toml"
    path.write_text(GOOD)

    def refuse(*_args, **_more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    assert refusal_of(path) == (
        f"{path}: may not be read; let this user read it, for example with chmod a+r {path}"
    )


def test_a_failing_disk_is_reported(tmp_path, monkeypatch):
    """The system's own reason is in the sentence."""
    path = tmp_path / "site.toml"
    path.write_text(GOOD)

    def fail(*_args, **_more):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("pathlib.Path.open", fail)
    assert refusal_of(path) == (f"{path}: cannot be read (Input/output error); check the path and the disk")


def test_a_name_that_no_file_can_have_is_reported():
    """A zero byte in a name is refused like any other name."""
    assert refusal_of("a\0b") == (
        "a\0b: cannot be read (its name is not a file name); check the path and the disk"
    )


def test_a_file_too_large_is_reported(tmp_path):
    """A megabyte is read, a byte more is not."""
    path = tmp_path / "site.toml"
    comments = "\n" + "#\n" * 500_000
    path.write_text((GOOD + comments)[:1_000_000])
    assert load_site(path).site.name == "Tern Cottage"
    path.write_text((GOOD + comments)[:1_000_001])
    assert refusal_of(path) == (
        f"{path}: is larger than 1 MB; check the path: a site file has some kilobytes"
    )


def test_a_file_that_is_not_utf8_is_reported_with_its_line(tmp_path):
    """A byte of another encoding is named with the line on which it stands."""
    path = tmp_path / "site.toml"
    path.write_bytes(GOOD.encode().replace(b"Tern Cottage", b"Caf\xe9"))
    assert refusal_of(path) == (f"{path}:2: is not UTF-8 text (byte 0xe9); save it with the encoding UTF-8")


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path):
    """A file saved by a Windows editor is as good as any."""
    path = tmp_path / "site.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_site(path).site == parse_site(GOOD, "site.toml").site


# Words of the libraries beneath, and the two that stand in where no better word is known.
JARGON = ("Input should", "validation", "a valid ", "type=", "None", "cannot be used here", "something else")


def tell_well(problems):
    """Whether every problem has words and a remedy and none of the words of the libraries beneath."""
    told = [f"{problem.what}; {problem.remedy}" for problem in problems]
    return all(problem.what and problem.remedy for problem in problems) and not any(
        word in line for word in JARGON for line in told
    )


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(documents())
def test_any_toml_is_a_site_or_refused_in_words(text):
    """No TOML text, of whatever layout, gets anything but problems in plain words out of the reader."""
    outcome = outcome_of(lambda each: parse_site(each, "site.toml"), text)
    assert isinstance(outcome, SiteFileError)
    assert tell_well(outcome.problems)


LINES = GOOD.splitlines()


@settings(deadline=None, max_examples=300)
@given(st.data())
def test_any_value_in_the_place_of_a_good_one_is_taken_or_refused_in_words(data):
    """Whatever kind of value a person writes behind a key, the answer is a site or words with its line."""
    number = data.draw(st.sampled_from([n for n, line in enumerate(LINES) if " = " in line]))
    key = LINES[number].split(" = ")[0]
    value = data.draw(
        scalars.filter(lambda text: "\n" not in text)
        | st.sampled_from(["[]", "[[]]", "{}", "{a = 1}", "[{}]", '[""]', "1e400", "-0.0", "1" + "0" * 400])
        | st.text(max_size=8).map(write_value)
    )
    text = "\n".join([*LINES[:number], f"{key} = {value}", *LINES[number + 1 :]])
    outcome = outcome_of(lambda each: parse_site(each, "site.toml"), text)
    if isinstance(outcome, SiteFileError):
        assert tell_well(outcome.problems)
        assert outcome.problems[0].line in (number + 1, 20, 21)
    else:
        assert tell_well(outcome.warnings)


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_refused_in_words(text):
    """No text at all raises anything but the site file's own error."""
    outcome = outcome_of(lambda each: parse_site(each, "site.toml"), text)
    assert isinstance(outcome, SiteFileError)
    assert tell_well(outcome.problems)


def find_deepest(make):
    """The greatest depth of brackets that the TOML reader bears when called from here."""
    depth = 50
    while True:
        try:
            tomllib.loads(make(depth + 1))
        except RecursionError:
            return depth
        depth += 1


@pytest.mark.parametrize("layout", ["x = {}\n" + GOOD, GOOD.replace('["dusk to midnight"]', "{}")])
@pytest.mark.parametrize(("opening", "closing"), [("[", "]"), ("{a=", "}")])
def test_brackets_of_any_depth_are_refused_in_words(layout, opening, closing):
    """Wherever the recursion of one of the readers ends, the person gets a sentence."""

    def make(depth):
        return layout.format(opening * depth + ("1" if opening != "[" else "") + closing * depth)

    deepest = find_deepest(make)
    for depth in range(deepest - 30, deepest + 5):
        outcome = outcome_of(lambda each: parse_site(each, "site.toml"), make(depth))
        assert isinstance(outcome, SiteFileError)
        assert tell_well(outcome.problems)


def test_a_name_that_only_code_uses_is_no_key():
    """The models' names with units do not get into files: dusk_angle_deg is not dusk_angle."""
    text = GOOD.replace("latitude = 51.5", "latitude_deg = 51.5")
    outcome = outcome_of(lambda each: parse_site(each, "site.toml"), text)
    assert [problem.key for problem in outcome.problems] == ["site.latitude_deg"]


def test_a_good_file_is_read_without_what_only_problems_need():
    """Lights come on before anything is imported that explains mistakes or edits files."""
    code = (
        "import sys; from config.file.loader import load_site; load_site(sys.argv[1]);"
        "names = 'config.file.toml_positions config.validation.messages config.file.toml_errors '"
        "'config.file.editor config.file.toml_editor config.validation.warnings '"
        "'config.validation.place difflib';"
        "print([name for name in names.split() if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(example_path("full-property"))],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout == "[]\n"
