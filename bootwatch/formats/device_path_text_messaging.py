"""The text form of messaging nodes but for the network's: UEFI 2.10 §10.3.4 and §10.6.1.6."""

import struct

from . import utf16
from .device_path_fields import MESSAGING, Form, Forms, hex_text, plain, signed, vendor

_ATAPI = struct.Struct("<BBH")
# Reserved, baud rate, data bits, parity, stop bits.
_UART = struct.Struct("<IQBBB")
_PARITIES = dict(enumerate("DNEOMS"))
_STOP_BITS = {0: "D", 1: "1", 2: "1.5", 3: "2"}
# Vendor, product, class, subclass, protocol.
_USB_CLASS = struct.Struct("<HHBBB")
_USB_CLASSES = {
    0x01: "UsbAudio",
    0x02: "UsbCDCControl",
    0x03: "UsbHID",
    0x06: "UsbImage",
    0x07: "UsbPrinter",
    0x08: "UsbMassStorage",
    0x09: "UsbHub",
    0x0A: "UsbCDCData",
    0x0B: "UsbSmartCard",
    0x0E: "UsbVideo",
    0xDC: "UsbDiagnostic",
    0xE0: "UsbWireless",
}
_USB_APPLICATION = 0xFE
_USB_APPLICATIONS = {1: "UsbDeviceFirmwareUpdate", 2: "UsbIrdaBridge", 3: "UsbTestAndMeasurement"}
# Interface, vendor, product; the serial number follows.
_USB_SERIAL = struct.Struct("<HHH")
# Address, logical unit, topology, relative target port.
_SAS = struct.Struct("<8s8sHH")
_SAS_SATA, _SAS_EXTERNAL, _SAS_EXPANDED, _SAS_OTHER = 1 << 4, 1 << 5, 1 << 6, 1 << 7
_NVME = struct.Struct("<I8s")


def _atapi(data: bytes) -> str:
    channel, unit, lun = _ATAPI.unpack_from(data)
    channel_text, unit_text = "Secondary" if channel == 1 else "Primary", "Slave" if unit == 1 else "Master"
    return f"Ata({channel_text},{unit_text},0x{lun:X})"


def _uart(data: bytes) -> str:
    _reserved, rate, bits, parity, stop = _UART.unpack_from(data)
    rate_text = signed(rate, 64) or "DEFAULT"
    return f"Uart({rate_text},{bits or 'DEFAULT'},{_PARITIES.get(parity, 'x')},{_STOP_BITS.get(stop, 'x')})"


def _usb_class(data: bytes) -> str:
    vendor_id, product, kind, subclass, protocol = _USB_CLASS.unpack_from(data)
    shown = f"0x{vendor_id:X},0x{product:X}"
    if kind in _USB_CLASSES:
        return f"{_USB_CLASSES[kind]}({shown},0x{subclass:X},0x{protocol:X})"
    if kind == _USB_APPLICATION and subclass in _USB_APPLICATIONS:
        return f"{_USB_APPLICATIONS[subclass]}({shown},0x{protocol:X})"
    return f"UsbClass({shown},0x{kind:X},0x{subclass:X},0x{protocol:X})"


def _usb_serial(data: bytes) -> str:
    interface, vendor_id, product = _USB_SERIAL.unpack_from(data)
    # An odd last byte is no part of the text, as the firmware counts it in whole characters.
    serial = utf16.until_nul(data[_USB_SERIAL.size : len(data) & ~1])
    return f'UsbWwid(0x{vendor_id:X},0x{product:X},0x{interface:X},"{serial}")'


def _sas(data: bytes) -> str:
    address, unit, topology, port = _SAS.unpack_from(data)
    return f"SasEx(0x{hex_text(address)},0x{hex_text(unit)},0x{port:X},{_sas_topology(topology)})"


def _sas_topology(topology: int) -> str:
    """The low four bits say how much is known: 0 nothing, 1 the kind of device, 2 the drive bay too."""
    known = topology & 0x0F
    if known > 2 or topology & _SAS_OTHER:
        return f"0x{topology:X},0,0,0"
    if known == 0:
        return "NoTopology,0,0,0"
    kind = "SATA" if topology & _SAS_SATA else "SAS"
    place = "External" if topology & _SAS_EXTERNAL else "Internal"
    way = "Expanded" if topology & _SAS_EXPANDED else "Direct"
    return f"{kind},{place},{way},{'0' if known == 1 else f'0x{(topology >> 8) + 1:X}'}"


def _nvme(data: bytes) -> str:
    namespace, eui = _NVME.unpack_from(data)
    return f"NVMe(0x{namespace:X},{'-'.join(f'{byte:02X}' for byte in reversed(eui))})"


def _fibre_ex(data: bytes) -> str:
    return f"FibreEx(0x{hex_text(data[4:12])},0x{hex_text(data[12:20])})"


FORMS: Forms = {
    (MESSAGING, 0x01): Form(_ATAPI.size, _atapi),
    (MESSAGING, 0x02): plain("HH", "Scsi(0x{0:X},0x{1:X})"),
    (MESSAGING, 0x03): plain("IQQ", "Fibre(0x{1:X},0x{2:X})"),
    (MESSAGING, 0x04): plain("IQ", "I1394({1:016X})"),
    (MESSAGING, 0x05): plain("BB", "USB(0x{0:X},0x{1:X})"),
    (MESSAGING, 0x06): plain("I", "I2O(0x{0:X})"),
    (MESSAGING, 0x0A): vendor("VenMsg"),
    (MESSAGING, 0x0E): Form(_UART.size, _uart),
    (MESSAGING, 0x0F): Form(_USB_CLASS.size, _usb_class),
    (MESSAGING, 0x10): Form(_USB_SERIAL.size, _usb_serial),
    (MESSAGING, 0x11): plain("B", "Unit(0x{0:X})"),
    (MESSAGING, 0x12): plain("HHH", "Sata(0x{0:X},0x{1:X},0x{2:X})"),
    (MESSAGING, 0x15): Form(20, _fibre_ex),
    (MESSAGING, 0x16): Form(_SAS.size, _sas),
    (MESSAGING, 0x17): Form(_NVME.size, _nvme),
    (MESSAGING, 0x19): plain("BB", "UFS(0x{0:X},0x{1:X})"),
    (MESSAGING, 0x1A): plain("B", "SD(0x{0:X})"),
    (MESSAGING, 0x1D): plain("B", "eMMC(0x{0:X})"),
}
