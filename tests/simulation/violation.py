"""What the judge raises."""


class Violation(AssertionError):  # noqa: N818 - named for what it is
    """Something that must never be."""
