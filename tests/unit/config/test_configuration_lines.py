"""On which line a key of the configuration stands, whatever the file is written like."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field

from hypothesis import given
from hypothesis import strategies as st

from arraygauge.config.lines import Place, line_at, lines_of

WORDS = st.sampled_from(("oak", "elm", "'a.b'", '"ash tree"', "1"))
VALUES = st.sampled_from(
    (
        "1",
        '"[oak]"',
        "'''\n[elm]\noak = 1 # none of this is a key\n'''",
        '"""\\\n  elm = "x"\n  """',
        "[\n  1, # [[oak]]\n\n  2,\n]",
        '["]", "="]',
        "{}",
    )
)
BETWEEN = st.sampled_from(("", "# oak = 1", "  # [elm]", "\t"))


def bare(word: str) -> str:
    return word.strip("'\"")


@dataclass
class Written:
    """A text that grows, and where in it each place is."""

    lines: list[str] = field(default_factory=list)
    places: dict[Place, int] = field(default_factory=dict)
    tables: dict[str, int] = field(default_factory=dict)

    def add(self, text: str) -> int:
        """The line that it begins on."""
        self.lines += text.split("\n")
        return len(self.lines) - text.count("\n")


@st.composite
def texts(draw: st.DrawFn) -> Written:
    """Keys of the top, then tables and arrays of tables; each name in one place at most."""
    written = Written()
    table: Place = ()
    headers = draw(st.lists(st.tuples(st.integers(0, 4), st.booleans()), max_size=5))
    for number, many in [(None, False), *headers]:
        if number is not None:
            table = header(written, draw(WORDS), number, many=many)
        for word in draw(st.lists(WORDS, max_size=3, unique_by=bare)):
            written.lines += draw(st.lists(BETWEEN, max_size=2))
            assignment(written, table, f"k{word}" if word == "1" else word, draw)
    return written


def header(written: Written, word: str, number: int, *, many: bool) -> Place:
    """A table that is there once, or one more of an array of tables."""
    name = f"{'many' if many else 'one'}{number}"
    count = written.tables.get(name, 0)
    written.tables[name] = count + 1
    if many:
        line = written.add(f"[[ {name} ]] # {word}")
        written.places.setdefault((name,), line)
        written.places[name, count] = line
        return name, count
    line = written.add(f"[{name}.{word}.t{count}]")
    for place in ((name,), (name, bare(word)), (name, bare(word), f"t{count}")):
        written.places.setdefault(place, line)
    return name, bare(word), f"t{count}"


def assignment(written: Written, table: Place, word: str, draw: st.DrawFn) -> None:
    value, kind = draw(VALUES), draw(st.sampled_from(("plain", "dotted", "inline")))
    name = bare(word)
    keys: list[Place]
    if kind == "plain":
        keys, text = [(name,)], f"{word} = {value}"
    elif kind == "dotted":
        keys, text = [(name,), (name, "in")], f"{word} . in={value}"
    else:
        keys, text = [(name,), (name, "in")], f"  {word} = {{ in = 1 }}"
    line = written.add(text)
    written.places |= {(*table, *key): line for key in keys}


@given(texts())
def test_every_key_and_table_has_the_line_it_begins_on(written: Written) -> None:
    text = "\n".join(written.lines)
    tomllib.loads(text)
    assert lines_of(text) == written.places


def test_what_is_missing_is_on_the_line_of_its_table() -> None:
    lines = lines_of("[[drive]]\nmatch = 'a'\n\n[[drive]]\nhours = [\n1,\n2]\n")
    assert line_at(lines, ("drive", 1, "match")) == 4
    assert line_at(lines, ("drive", 1, "hours", 1)) == 5
    assert line_at(lines, ()) is None
    assert line_at(lines, ("probe", "max_seconds")) is None


def test_a_table_within_one_of_an_array_belongs_to_the_last_of_them() -> None:
    lines = lines_of("[[a]]\n[a.b]\n[[a]]\n[a.b]\nc = 1\n[[a.d]]\n[[a.d]]\n")
    assert lines["a", 0, "b"] == 2
    assert lines["a", 1, "b", "c"] == 5
    assert lines["a", 1, "d", 1] == 7
