"""The pictures of the page in README.md show the page as it is."""

from contextlib import closing
from pathlib import Path

from tests.pictures.__main__ import DIGESTS, FOLDER, PICTURES, evening, made_of

README = Path(__file__).parents[2] / "README.md"


def test_the_pictures_are_of_the_screens_as_they_are(tmp_path):
    """What each was made of has not changed since."""
    with closing(evening(tmp_path)) as house:
        assert made_of(house) == DIGESTS.read_text(encoding="utf-8"), "run python -m tests.pictures"


def test_the_readme_shows_every_picture():
    """README.md shows all of them, and each is there."""
    text = README.read_text(encoding="utf-8")
    for name in PICTURES:
        assert f"tests/pictures/{name}.png" in text
        assert (FOLDER / f"{name}.png").read_bytes().startswith(b"\x89PNG")
