"""Records in what order bootctl lists boot entries: `samples/entry_orders.json`.

Run by hand, as root: python -m tests.judge.record_orders. Needs the package systemd-boot.
"""

from __future__ import annotations

import json
import subprocess
import tempfile
from pathlib import Path
from random import Random

SAMPLES = Path(__file__).parent / "samples"
VERSIONS = ("6.1", "6.9", "6.10", "6.10~rc1", "6.10-2", "6.1.0", "6.1a", "007", "7", "7^git", "")
KEYS = ("", "", "fernwick", "tarn", "fernwick2")
MACHINES = ("", "5d8f0f6ce1c84a0a9f0a7a6a33c0f6b1", "0aaf0f6ce1c84a0a9f0a7a6a33c0f6b1")
COUNTERS = ("", "", "", "+3", "+0", "+0-3", "+2-1")
# In a mount namespace of its own: a boot volume is a file system's root.
COMMAND = """mount -t tmpfs none /mnt && cp -r "$1/." /mnt/ &&
SYSTEMD_RELAX_ESP_CHECKS=1 bootctl --esp-path=/mnt --json=short list"""


def menu(random: Random) -> dict[str, str]:
    found = {}
    for number in range(random.randint(2, 8)):
        # bootctl refuses other characters in a name; the loader doesn't.
        version = random.choice(VERSIONS).translate({ord("~"): "-", ord("^"): "_"})
        stem = random.choice([f"fernwick-{version}", f"tarn{number}", str(number)])
        lines = [f"title Entry {number}", f"linux /fernwick/linux{number}"]
        for word, values in (("sort-key", KEYS), ("machine-id", MACHINES), ("version", VERSIONS)):
            value = random.choice(values)
            lines += [f"{word} {value}"] if value else []
        found[f"{stem}{random.choice(COUNTERS)}.conf"] = "\n".join(lines) + "\n"
    return found


def listed(entries: dict[str, str]) -> list[str]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "loader/entries"
        folder.mkdir(parents=True)
        (Path(name) / "EFI").mkdir()
        for file, text in entries.items():
            (folder / file).write_text(text)
        command = ["unshare", "-m", "sh", "-c", COMMAND, "sh", name]
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    decoder, at, found = json.JSONDecoder(), 0, []
    while at < len(told.rstrip()):
        entry, at = decoder.raw_decode(told, at)
        found.append(Path(entry["path"]).name)
        at += len(told[at:]) - len(told[at:].lstrip())
    return found


def main() -> None:
    menus = [menu(Random(number)) for number in range(80)]
    document = [{"entries": entries, "listed": listed(entries)} for entries in menus]
    SAMPLES.mkdir(exist_ok=True)
    (SAMPLES / "entry_orders.json").write_text(json.dumps(document, indent=0) + "\n")


if __name__ == "__main__":
    main()
