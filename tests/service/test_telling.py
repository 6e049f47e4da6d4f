"""What a reading leaves for the sender, for whoever logs in, and for machines."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.tell.state import machine_key
from tests.situations.play import Stage

QUARRY_GONE = {
    "moment": "boot",
    "entry Quarry": "gone",
    "order": ["Fernwick Linux", "Hall Disk", "Attic Disk"],
}


@pytest.fixture
def stage() -> Iterator[Stage]:
    with Stage.made() as made:
        yield made


def message_of(stage: Stage, *then: dict[str, Any]) -> Message:
    told = stage.play({"what": "", "machine": "usual", "then": list(then), "expected": {}})
    message = told.scenes[-1].message
    assert message is not None
    return message


def test_what_machines_read_of_a_message(stage: Stage) -> None:
    state = message_of(stage, {"moment": "shutdown"}, QUARRY_GONE).state
    assert state["format"] == "bootwatch/state/1"
    assert (state["machine"], state["snapshot"], state["open"]) == ("pantry", 3, {"weakened": 1})
    assert state["next_start"] == {
        "by": "BootOrder",
        "system": "Fernwick Linux",
        "certain": True,
        "expected": True,
    }
    assert {one["name"]: one["starts"] for one in state["systems"]} == {
        "Fernwick Linux": True,
        "Quarry": True,
    }
    assert len(state["starts"]) == 2  # the baseline's and that of the last step


def test_machine_id_is_not_given_away() -> None:
    machine_id = "0123456789abcdef0123456789abcdef"
    key = machine_key(machine_id)
    assert machine_id not in key and key == machine_key(machine_id) != machine_key(machine_id[::-1])


def test_message_says_of_which_alert_it_is(stage: Stage) -> None:
    message = message_of(stage, {"moment": "shutdown"}, QUARRY_GONE)
    assert (message.kind, message.called, message.stage) == (Kind.NEWS, "a1", 1)
    assert message.routes["next_start"]["system"] == "Fernwick Linux"
    assert Message.from_json(json.loads(json.dumps(message.to_json()))) == message


def test_message_of_a_version_that_knew_no_alerts_is_read(stage: Stage) -> None:
    document = message_of(stage, QUARRY_GONE).to_json()
    newer = ("kind", "alert", "called", "opened", "stage", "is_over", "still_open", "how", "routes", "state")
    for name in (*newer, "care", "files_untouched", "spoken"):
        del document[name]
    message = Message.from_json(document)
    assert (message.kind, message.alert, message.routes) == (Kind.NEWS, "", {})
