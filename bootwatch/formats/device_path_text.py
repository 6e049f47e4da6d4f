"""The text form of device path nodes: UEFI 2.10 §10.6, as the reference firmware (edk2) prints it.

One module for each family of nodes has the forms; here they are put together. A node of a type that has no
form, or whose payload is too short for its type, gets the generic form: `HardwarePath(subtype,hex)` and its
like, or `Path(type,subtype,hex)`. edk2 2022.11 prints some nodes of the standard that way: NVDIMM (ACPI 4),
NVDIMM namespaces, REST services and NVMe over fabrics (messaging 32 to 34).
"""

from . import (
    device_path_text_acpi,
    device_path_text_media,
    device_path_text_messaging,
    device_path_text_network,
)
from .device_path_fields import (
    ACPI,
    BBS,
    END,
    END_INSTANCE,
    HARDWARE,
    MEDIA,
    MESSAGING,
    Form,
    Forms,
    hex_text,
    plain,
    vendor,
)

_GENERIC = {HARDWARE: "HardwarePath", ACPI: "AcpiPath", MESSAGING: "Msg", MEDIA: "MediaPath", BBS: "BbsPath"}
_HARDWARE: Forms = {
    (HARDWARE, 0x01): plain("BB", "Pci(0x{1:X},0x{0:X})"),
    (HARDWARE, 0x02): plain("B", "PcCard(0x{0:X})"),
    (HARDWARE, 0x03): plain("IQQ", "MemoryMapped(0x{0:X},0x{1:X},0x{2:X})"),
    (HARDWARE, 0x04): vendor("VenHw"),
    (HARDWARE, 0x05): plain("I", "Ctrl(0x{0:X})"),
    (HARDWARE, 0x06): plain("BQ", "BMC(0x{0:X},0x{1:X})"),
}
_FORMS: Forms = {
    **_HARDWARE,
    **device_path_text_acpi.FORMS,
    **device_path_text_messaging.FORMS,
    **device_path_text_network.FORMS,
    **device_path_text_media.FORMS,
    (END, END_INSTANCE): Form(0, lambda _data: ","),
}


def node_text(kind: int, subtype: int, data: bytes) -> str:
    """The text of one node with that payload; an End-of-instance node is a comma.

    >>> node_text(0x01, 0x01, bytes([2, 0x1F]))
    'Pci(0x1F,0x2)'
    >>> node_text(0x05, 0x07, b"\\x0a")
    'BbsPath(7,0A)'
    """
    form = _FORMS.get((kind, subtype))
    if form is not None and len(data) >= form.least:
        return form.text(data)
    return _generic(kind, subtype, data)


def _generic(kind: int, subtype: int, data: bytes) -> str:
    name = _GENERIC.get(kind)
    head = f"Path({kind},{subtype}" if name is None else f"{name}({subtype}"
    return head + ("," + hex_text(data) if data else "") + ")"


def least_size(kind: int, subtype: int) -> int | None:
    """How many bytes a payload of that type has at least; None for a type without a text form of its own.

    >>> least_size(0x01, 0x01), least_size(0x22, 0x33)
    (2, None)
    """
    form = _FORMS.get((kind, subtype))
    return None if form is None else form.least
