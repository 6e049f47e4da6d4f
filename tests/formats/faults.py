"""What is wrong with each disk in samples/tables, by hand from UEFI 2.10 §5.2 and §5.3.

A GPT disk: which copy holds, what its MBR gives it, and each problem's words in their order. An MBR disk: its
problems, or what refuses it.
"""

from pathlib import Path

from .tools import SAMPLES

TABLES = SAMPLES / "tables"
PRIMARY, BACKUP = "primary header at byte 512: ", "backup header at byte 261632: "
USABLE = "reaches outside the usable LBAs 34 to 478"
LOST = ("damaged", "protective")
FIRST = ("primary", "protective")
SECOND = ("backup", "protective")

GPT: dict[str, tuple[str, str, list[str]]] = {
    "gpt-whole": (*FIRST, []),
    "gpt-of-200-partitions": (*FIRST, []),
    "gpt-header-as-large-as-the-block": (*FIRST, []),
    "gpt-name-with-half-a-surrogate": (*FIRST, []),
    "gpt-hybrid-mbr": ("primary", "hybrid", []),
    "gpt-no-protective-mbr": ("primary", "missing", ["no protective MBR"]),
    "gpt-protective-mbr-begins-at-2": ("primary", "missing", ["no protective MBR"]),
    "gpt-primary-header-gone": (*SECOND, ["no primary header at LBA 1"]),
    "gpt-primary-header-checksum": (*SECOND, [PRIMARY + "wrong checksum"]),
    "gpt-primary-header-bit-flipped": (*SECOND, [PRIMARY + "wrong checksum"]),
    "gpt-primary-header-size-0": (*SECOND, [PRIMARY + "header size 0 is impossible"]),
    "gpt-primary-header-size-91": (*SECOND, [PRIMARY + "header size 91 is impossible"]),
    "gpt-primary-header-size-huge": (*SECOND, [PRIMARY + "header size 4294967295 is impossible"]),
    "gpt-primary-header-of-another-place": (*SECOND, [PRIMARY + "says that it lies at LBA 7, not 1"]),
    "gpt-primary-entries-bit-flipped": (*SECOND, ["primary entries at byte 1024: wrong checksum"]),
    "gpt-primary-entries-beyond-the-disk": (*SECOND, ["only 0 of 16384 bytes are on the disk"]),
    "gpt-primary-entry-count-huge": (*SECOND, ["4294967295 entries of 128 bytes make no table"]),
    "gpt-primary-entry-size-0": (*SECOND, ["128 entries of 0 bytes make no table"]),
    "gpt-primary-entry-size-100": (*SECOND, ["128 entries of 100 bytes make no table"]),
    "gpt-primary-entry-size-huge": (*SECOND, ["128 entries of 4294967288 bytes make no table"]),
    "gpt-primary-leads-elsewhere": (*FIRST, ["says that the backup lies at LBA 400, not 511"]),
    "gpt-backup-header-gone": (*FIRST, ["no backup header at the last LBA"]),
    "gpt-backup-header-checksum": (*FIRST, [BACKUP + "wrong checksum"]),
    "gpt-backup-header-of-another-place": (*FIRST, [BACKUP + "says that it lies at LBA 7, not 511"]),
    "gpt-backup-entries-bit-flipped": (*FIRST, ["backup entries at byte 245248: wrong checksum"]),
    "gpt-backup-leads-elsewhere": (*FIRST, ["says that the primary lies at LBA 2, not 1"]),
    "gpt-backup-not-at-the-end": (*FIRST, ["backup header at LBA 511, not at the disk's last LBA 527"]),
    "gpt-backup-not-at-the-end-and-primary-damaged": (
        *LOST,
        [PRIMARY + "wrong checksum", "backup header at LBA 511, not at the disk's last LBA 527"],
    ),
    "gpt-disk-cut": (
        *LOST,
        [
            PRIMARY + "its usable LBAs end at 478, beyond the disk's last LBA 447",
            "the backup header should lie at LBA 511, beyond the disk's last LBA 447",
        ],
    ),
    "gpt-copies-differ": (*FIRST, ["primary and backup table differ"]),
    "gpt-both-headers-checksums": (*LOST, [PRIMARY + "wrong checksum", BACKUP + "wrong checksum"]),
    "gpt-both-entries-bit-flipped": (
        *LOST,
        ["primary entries at byte 1024", "backup entries at byte 245248"],
    ),
    "gpt-revision-2": (*FIRST, [PRIMARY + "revision 0x00020000", BACKUP + "revision 0x00020000"]),
    "gpt-reserved-field-used": (*FIRST, [PRIMARY + "its reserved field holds 0x5", BACKUP + "its reserved"]),
    "gpt-entries-of-136-bytes": (*FIRST, [PRIMARY + "entries of 136 bytes", BACKUP + "entries of 136 bytes"]),
    "gpt-no-usable-blocks": (
        *LOST,
        [PRIMARY + "its usable LBAs 300 to 200 are none", BACKUP + "its usable LBAs 300 to 200 are none"]
        + [f"partition {number} at LBA" for number in (1, 2, 3, 4)],
    ),
    "gpt-usable-blocks-beyond-the-disk": (
        *LOST,
        [
            PRIMARY + "its usable LBAs end at 5000",
            BACKUP + "its usable LBAs end at 5000",
            "LBA 479 to 510 lie",
        ],
    ),
    "gpt-entries-within-usable-blocks": (*FIRST, ["LBA 2 to 33 lie within the usable LBAs 20 to 478"]),
    "gpt-entry-before-the-usable-blocks": (*FIRST, [f"partition 1 at LBA 33: {USABLE}"]),
    "gpt-entry-behind-the-usable-blocks": (*FIRST, [f"partition 4 at LBA 250: {USABLE}"]),
    "gpt-entry-beyond-the-disk": (
        *FIRST,
        [f"partition 4 at LBA 248: {USABLE}", "ends at LBA 5000, beyond the disk's last LBA 511"],
    ),
    "gpt-entry-ends-before-it-begins": (
        *FIRST,
        ["partition 2 at LBA 104: ends at LBA 103, before its start"],
    ),
    "gpt-entries-overlap": (*FIRST, ["partition 2 at LBA 103: overlaps partition 1"]),
    "gpt-entry-within-another": (*FIRST, ["partition 3 at LBA 110: overlaps partition 2"]),
    "gpt-same-guid-twice": (*FIRST, ["partitions 2 and 3: have the same GUID a0000000-"]),
    "gpt-entry-without-a-guid": (*FIRST, ["partition 2: has no GUID of its own"]),
    "gpt-4096-whole": (*FIRST, []),
    "gpt-4096-primary-header-gone": (*SECOND, ["no primary header at LBA 1"]),
    "gpt-4096-primary-entries-bit-flipped": (*SECOND, ["primary entries at byte 8192: wrong checksum"]),
    "gpt-4096-backup-header-checksum": (*FIRST, ["backup header at byte 1044480: wrong checksum"]),
    "gpt-4096-entries-overlap": (*FIRST, ["partition 2 at LBA 25: overlaps partition 1"]),
}
GPT_REFUSED = {"gpt-both-headers-gone": "no header at LBA 1 nor at the last LBA"}

NO_MARK = "does not end in 55 AA"
MBR: dict[str, list[str]] = {
    "mbr-whole": [],
    "mbr-4096-whole": [],
    "mbr-protective-alone": [],
    "mbr-entries-overlap": ["partition 2 at LBA 71: overlaps partition 1"],
    "mbr-entry-beyond-the-disk": ["partition 4 at LBA 404: ends at LBA 512, beyond the disk's last LBA 511"],
    "mbr-entry-begins-at-0": ["partition 1 at LBA 0: begins on the table itself"],
    "mbr-two-extended": ["more than one extended", f"extended boot record at LBA 404: {NO_MARK}"],
    "mbr-chain-in-a-circle": ["extended boot record at LBA 104: links back to itself"],
    "mbr-chain-leads-nowhere": [f"extended boot record at LBA 4294967384: {NO_MARK}"],
    "mbr-chain-record-gone": [f"extended boot record at LBA 104: {NO_MARK}"],
    "mbr-logical-outside-its-extended": [
        "partition 5 at LBA 112: lies outside its extended partition 3",
        "partition 6 at LBA 140: overlaps partition 5",
    ],
}
MBR_REFUSED = {"mbr-no-mark": NO_MARK, "mbr-status-impossible": "a boot sector without one"}


def block_size(name: str) -> int:
    return 4096 if "-4096-" in name else 512


def path(name: str) -> Path:
    return TABLES / f"{name}.blocks"
