"""A box that anybody may write into: whatever lies in it, what is said of the machines stays the same."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bootwatch.rollcall import mbox, mime
from bootwatch.rollcall.gather import Gathered, gather
from bootwatch.rollcall.known import Known
from bootwatch.rollcall.letter import MOST_BYTES, Letter
from bootwatch.rollcall.report import document as shown
from bootwatch.rollcall.report import keys, report
from bootwatch.rollcall.roll import Condition, Roll, call
from bootwatch.rollcall.sighting import State
from bootwatch.tell.part import new_key, public_key, seal
from tests.rollcall.mails import BEGIN, DAY, KEYS, document, mail, signs
from tests.rollcall.mails import mbox as make_mbox

pytestmark = pytest.mark.long

KNOWN = Known({str(public_key(KEYS["study"])): frozenset({"study"})})
NOW = BEGIN + 90 * DAY
HEAD = b"Subject: x\nMIME-Version: 1.0\nContent-Type: "
NAME = "study\x1b[2J\x1b]0;owned\x07\u202e\n\nkitchen well\r\x9b31m" + "\u0301" * 50


def forged(**members: Any) -> bytes:
    """A mail with a state in which something is wrong, signed with somebody's own key."""
    state = document("study", 999, 89) | members
    return mail(seal(state, KEYS["stranger"]), BEGIN + 89 * DAY)


def attached(payload: bytes, kind: bytes = b"application/json") -> bytes:
    return HEAD + kind + b"\nContent-Transfer-Encoding: base64\n\n" + base64.encodebytes(payload)


def nested(depth: int, boundary: Callable[[int], bytes]) -> bytes:
    lines = []
    for level in range(depth):
        lines.append(b'Content-Type: multipart/mixed; boundary="' + boundary(level) + b'"\n\n')
        lines.append(b"--" + boundary(level) + b"\n")
    return HEAD + b"text/x; y=application/json\n" + b"".join(lines) + b"\n\n" * 2000


def hostile() -> Iterator[tuple[str, bytes]]:
    """By name: what is in the box beside the machine's own mails."""
    part = b"bootwatch/part/1"
    yield "nothing", b""
    yield "no head", b"\n\n\n"
    yield "noise", bytes(range(256)) * 400
    yield "noise in a part", attached(part + bytes(range(256)) * 100)
    yield "not base64", HEAD + b"application/json\nContent-Transfer-Encoding: base64\n\n\xff" + part
    yield "an encoding that is none", HEAD + b'application/json; charset="\x00\xff"\n\n' + part
    yield "deep", attached(b'{"format": "' + part + b'", "payload": ' + b"[" * 60000)
    yield "a bomb of parts", nested(19, lambda level: b"b%d" % level)
    yield "a deeper bomb", nested(6000, lambda level: b"b%d" % level)
    yield "one boundary for all", nested(19, lambda level: b"b")
    yield (
        "very many parts",
        HEAD + b'multipart/mixed; boundary="b"\n\n' + b"--b\n\napplication/json\n" * 20_000,
    )
    yield "a long head", HEAD + b'application/json; x="' + b";" * 400_000 + b"\n\n" + part
    yield "a folded head", HEAD + b'application/json; x="' + b"\n ;;;;;;;;" * 19_000 + b"\n\n" + part
    yield (
        "many heads",
        HEAD + b"application/json\n" + b"Content-Type: application/json;\n" * 15_000 + b"\n" + part,
    )
    yield "many stamps", b"Received: x; y\n" * 15_000 + attached(part)
    yield (
        "a date that is none",
        b"Date: Mon, 99 Foo 99999 99:99:99 +9999999\n" + attached(seal(document("a", 1, 89), None)),
    )
    yield "too large", HEAD + b"application/json\n\n" + b"x" * MOST_BYTES
    yield "a mail in a mail", HEAD + b"message/rfc822\n\n" + signs(until=0)[0]
    yield "escape sequences", forged(machine=NAME, called=NAME, next_start={"system": NAME, "expected": None})
    yield "no name", forged(machine=" ")
    yield "a time that never was", forged(time="2026-02-31T00:00:00Z")
    yield "a time without a zone", forged(time="2026-02-21T00:00:00")
    yield "the last of all times", forged(time="9999-12-31T23:59:59-23:59")
    yield "a huge number", forged(snapshot=10**40)
    yield "no number", forged(snapshot=True)
    yield "a fraction", forged(snapshot=1e308)
    yield "starts that are none", forged(starts={"a": 1})
    yield "very many starts", forged(starts=["2026-02-21T00:00:00Z"] * 1000)
    yield "a level that is none", forged(open={"splendid": 1})
    yield "a kind that is none", forged(kind=["news"])
    yield "an id that is a path", forged(id="../../../../../../../../../../etc")
    yield "the state of tomorrow", forged(format="bootwatch/state/2")
    yield "a well machine", forged()
    yield "lone halves", forged(machine="\ud800study")


HOSTILE = dict(hostile())


def rolled(mails: list[bytes]) -> tuple[Roll, Gathered]:
    gathered = gather((Letter.of(data) for data in mails), KNOWN)
    return call(gathered.sightings, KNOWN, NOW), gathered


def harmless(text: str) -> bool:
    return all(character == "\n" or character.isprintable() for character in text)


@pytest.mark.parametrize("name", HOSTILE)
def test_it_does_no_harm(name: str) -> None:
    alone, _ = rolled(signs())
    roll, gathered = rolled([*signs(), HOSTILE[name]])
    assert roll.proven == alone.proven
    assert [row.condition for row in roll.proven] == [Condition.LATE]
    said = report(roll, gathered, "list", NOW)
    assert harmless(said)
    assert max(map(len, said.splitlines())) <= 80
    assert harmless(keys(gathered, KNOWN))
    assert harmless(json.dumps(shown(roll, gathered, NOW)))


REFUSED = {
    "noise in a part": "part refused: it is not JSON in ASCII",
    "deep": "part refused: it is not JSON in ASCII",
    "a deeper bomb": "mail too involved",
    "very many parts": "mail too involved",
    "too large": "mail larger than any of ours",
    "no name": "part refused: it names no machine",
    "a huge number": "part refused: a number in it is damaged",
    "a level that is none": "part refused: 'splendid' is not a valid Level",
    "the state of tomorrow": "part refused: it is not of a format that is known here",
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused_is_counted(name: str) -> None:
    _, gathered = rolled([HOSTILE[name]])
    assert dict(gathered.unread) == {REFUSED[name]: 1}


def test_what_is_well_formed_is_shown_as_not_proven() -> None:
    names = ("a well machine", "escape sequences", "lone halves", "a date that is none")
    roll, _ = rolled([HOSTILE[name] for name in names])
    assert len(roll.unproven) == len(names)
    assert not roll.proven[0].story


def test_a_flood_of_names() -> None:
    mails = [mail(seal(document(f"pc-{number}", 1, 89), None), BEGIN + 89 * DAY) for number in range(120)]
    roll, gathered = rolled([*signs(), *mails])
    lines = report(roll, gathered, "list", NOW).splitlines()
    assert lines[3].startswith("study")
    assert "and 70 more: --json lists them all" in lines
    assert len(lines) < 170


def test_a_name_that_looks_like_a_line_of_the_list() -> None:
    """Pasted into the list, it is a name and nothing else."""
    key = new_key()
    other = str(public_key(KEYS["stranger"]))
    state = document(f"pc\n{other} study", 1, 89)
    _, gathered = rolled([mail(seal(state, key), BEGIN + 89 * DAY)])
    lines = [line for line in keys(gathered, KNOWN).splitlines() if not line.startswith("#")]
    assert lines == [f"{public_key(key)} pc\\x0a{other} study"]


def test_an_mbox_of_any_bytes(tmp_path: Path) -> None:
    """Its lines may have no end, and its last mail may be cut."""
    box = make_mbox(
        tmp_path / "box", [*signs(until=14), b"x" * (3 * MOST_BYTES) + b"\n", *signs("kitchen", 0)]
    )
    with box.open("ab") as file:
        file.write(b"From x\n" + signs(until=0)[0][:900])
    letters = list(mbox.letters(box))
    assert [bool(one.data) for one in letters] == [True, True, True, False, True, True]
    assert len(gather(letters, KNOWN).sightings) == 4


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=60), st.integers(min_value=0, max_value=4000))
def test_any_bytes_in_a_mail(noise: bytes, place: int) -> None:
    data = signs(until=0)[0]
    _, gathered = rolled([data[:place] + noise + data[place + len(noise) :]])
    assert all(one.state.snapshot == 10 for one in gathered.sightings)


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(sorted(document("a", 1, 1))),
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=9),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
        max_leaves=5,
    ),
)
def test_any_value_in_a_state(member: str, value: Any) -> None:
    try:
        State.read(document("a", 1, 1) | {member: value})
    except ValueError:
        return


def test_times_of_a_mail() -> None:
    found = mime.read(signs(until=0)[0])
    assert found and found.came == found.dated == BEGIN
