"""A hypothesis strategy for TOML texts of every layout, and a reader of their leaves by Python's tomllib."""

from __future__ import annotations

from hypothesis import strategies as st

KEYS = ["a", "b-1", "long_key", '"quoted key"', "'lit.eral'", '"d\\u00e9"', "7"]

scalars = st.sampled_from(
    [
        '"text"', '"# no comment ] }"', '"esc \\" \\\\"', "'literal # ['",
        '"""two\nlines # " "" """', '"""end""""',
        "'''lit\n'' \\'''", "''''quoted'''''", "1", "-4.5", "1e3", "nan", "inf", "0x1F", "true",
        "false", "1979-05-27", "07:32:00",
        "1979-05-27 07:32:00", "1979-05-27T07:32:00-08:00", '""', "''", '"é ü 🌙"',
    ]
)  # fmt: skip
blanks = st.sampled_from(["", " ", "\t", "  "])
gaps = st.sampled_from(["", " ", "\n", " # note ] } \" '\n", "\n\n  "])


@st.composite
def values(draw, depth=2):
    """A value, in one line or over several."""
    kind = draw(st.sampled_from(["scalar", "scalar", "array", "inline"] if depth else ["scalar"]))
    if kind == "scalar":
        return draw(scalars)
    if kind == "array":
        parts = draw(st.lists(values(depth=depth - 1), max_size=3))
        inner = "".join(draw(gaps) + part + draw(gaps) + "," for part in parts)
        if inner and draw(st.booleans()):
            inner = inner[:-1]
        return "[" + inner + draw(gaps) + "]"
    keys = draw(st.lists(st.sampled_from(KEYS), max_size=3, unique=True))
    pairs = [
        f"{draw(blanks)}{key}{draw(blanks)}={draw(blanks)}{draw(values(depth=depth - 1))}{draw(blanks)}"
        for key in keys
    ]
    return "{" + ",".join(pairs) + "}"


@st.composite
def documents(draw):
    """A TOML text: keys, dotted keys, tables, lists of tables and tables in them, in changing order.

    Not every one is valid, since a key may be written twice; tomllib is to judge that.
    """
    line_end = draw(st.sampled_from(["\n", "\r\n"]))
    lines = []

    def add_pairs():
        for _ in range(draw(st.integers(0, 3))):
            parts = draw(st.lists(st.sampled_from(KEYS), min_size=1, max_size=2))
            dot = draw(blanks) + "." + draw(blanks)
            comment = draw(st.sampled_from(["", " # why [[a]]"]))
            lines.append(f"{draw(blanks)}{dot.join(parts)} = {draw(values())}{comment}")
            lines.extend(draw(st.lists(st.sampled_from(["", "# a = 1", "  # [b]"]), max_size=1)))

    add_pairs()
    for _ in range(draw(st.integers(0, 5))):
        name = ".".join(draw(st.lists(st.sampled_from(KEYS), min_size=1, max_size=3)))
        heading = draw(st.sampled_from([f"[{name}]", f"[[{name}]]", f"[[ {name} ]]"]))
        lines.append(draw(blanks) + heading + draw(st.sampled_from(["", " # t"])))
        add_pairs()
    return line_end.join(lines).replace("\r\n", "\n").replace("\n", line_end) + draw(
        st.sampled_from(["", line_end])
    )


def list_paths(value, path=()):
    """Every path of plain TOML values with the value there: tables, lists, elements and leaves."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*path, key), inner
            yield from list_paths(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield (*path, index), inner
            yield from list_paths(inner, (*path, index))
