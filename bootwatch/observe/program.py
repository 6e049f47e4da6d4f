"""What a program says of itself: what its header declares, and the names it carries."""

from __future__ import annotations

from bootwatch.formats import FormatError
from bootwatch.formats.pe import Image
from bootwatch.formats.reader import Reader
from bootwatch.model.volume import Program

# The sections of UAPI's Unified Kernel Image specification.
_SECTIONS = (".linux", ".initrd", ".osrel", ".cmdline", ".uname", ".ucode", ".dtb", ".sbat")
_STRINGS = {
    "product": "ProductName",
    "description": "FileDescription",
    "company": "CompanyName",
    "original": "OriginalFilename",
}
_LONGEST = 200


def read_program(reader: Reader) -> Program:
    """Read a file that begins with MZ; what is no program gets a problem. OSError passes through."""
    try:
        image = Image.read(reader)
    except FormatError as error:
        return Program(None, None, None, (str(error),))
    filled = {section.name for section in image.sections if section.content_size}
    return Program(
        image.machine,
        image.subsystem,
        image.declared_size,
        tuple(map(str, image.problems)),
        tuple(name for name in _SECTIONS if name in filled),
        _names(image),
    )


def _names(image: Image) -> dict[str, str]:
    found = {name: image.version_info.get(string, "") for name, string in _STRINGS.items()}
    try:
        release = image.os_release()
    except FormatError:
        release = {}
    found["os"] = release.get("PRETTY_NAME") or release.get("NAME", "")
    found["os_id"] = release.get("ID", "")
    return {name: text.strip()[:_LONGEST] for name, text in found.items() if text.strip()}
