"""What a program says of itself: what its header declares, and the names it carries."""

from __future__ import annotations

from bootwatch.formats import FormatError
from bootwatch.formats.pe import Image
from bootwatch.formats.reader import Reader
from bootwatch.model.volume import Program
from bootwatch.observe.mentions import mentions

# The sections of UAPI's Unified Kernel Image specification.
_SECTIONS = (".linux", ".initrd", ".osrel", ".cmdline", ".uname", ".ucode", ".dtb", ".sbat")
_STRINGS = {
    "product": "ProductName",
    "description": "FileDescription",
    "company": "CompanyName",
    "original": "OriginalFilename",
}
_LONGEST = 200
_LONGEST_CMDLINE = 1000


def read_program(reader: Reader, content: bytes | None = None) -> Program:
    """Read a file that begins with MZ; what is no program gets a problem. OSError passes through.

    ``content`` is the whole of it, if it is to be searched for names of other files.
    """
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
        # A kernel is packed, and what it starts is no file.
        None if content is None or ".linux" in filled else mentions(content),
        _cmdline(image) if ".linux" in filled else "",
    )


def _cmdline(image: Image) -> str:
    try:
        return (image.cmdline() or "")[:_LONGEST_CMDLINE]
    except FormatError:
        return ""


def _names(image: Image) -> dict[str, str]:
    found = {name: image.version_info.get(string, "") for name, string in _STRINGS.items()}
    try:
        release, found["vendor"] = image.os_release(), image.vendor()
    except FormatError:
        release = {}
    found["os"] = release.get("PRETTY_NAME") or release.get("NAME", "")
    found["os_id"] = release.get("ID", "")
    return {name: text.strip()[:_LONGEST] for name, text in found.items() if text.strip()}
