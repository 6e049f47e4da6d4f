"""What tpm2_eventlog (tpm2-tools) says of a log, and what our reader says, in the same words."""

from typing import Any

import yaml

from bootwatch.formats.event_log import Event, EventLog

Row = dict[str, Any]


def told(text: str) -> list[Row]:
    """The tool's YAML: an event a row. Data that it takes apart are kept where we take them apart too."""
    return [_told(event) for event in yaml.safe_load(text)["events"]]


def _told(event: Row) -> Row:
    digests = {item["AlgorithmId"]: item["Digest"] for item in event.get("Digests", [])}
    row = {
        "pcr": event["PCRIndex"],
        "type": event["EventType"],
        "digests": digests or {"sha1": event["Digest"]},
        "size": event["EventSize"],
    }
    content = event.get("Event")
    if isinstance(content, str):
        row["text"] = content
    elif content and "UnicodeName" in content:
        row |= {"name": content["UnicodeName"], "guid": content["VariableName"]}
        # The tool shows keys in a form of its own, and an absent variable not at all.
        row |= {"bytes": content["VariableDataLength"]}
    elif content and "DevicePath" in content:
        row |= {"at": content["ImageLocationInMemory"], "bytes": content["ImageLengthInMemory"]}
        row |= {"path": content["DevicePath"]}
    return row


def seen(log: EventLog) -> list[Row]:
    """Our reading of the same log."""
    return [_seen(event) for event in log.events]


def _seen(event: Event) -> Row:
    row: Row = {
        "pcr": event.pcr,
        "type": event.type_name,
        "digests": {name: digest.hex() for name, digest in event.digests.items()},
        "size": len(event.data),
    }
    if event.variable:
        row |= {"name": event.variable.name, "guid": event.variable.guid, "bytes": len(event.variable.data)}
    elif event.image:
        row |= {"at": event.image.location, "bytes": event.image.length}
        row |= {"path": bytes(event.image.path).hex()}
    elif event.action:
        row["text"] = event.action
    elif event.type_name not in ("EV_NO_ACTION", "EV_EFI_PLATFORM_FIRMWARE_BLOB"):
        row["text"] = event.data.hex()
    return row
