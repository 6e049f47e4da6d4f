"""The text form of messaging nodes that have to do with a network: UEFI 2.10 §10.3.4 and §10.6.1.6."""

import struct

from .device_path_fields import MESSAGING, Form, Forms, ascii_text, guid_text, hex_text, plain

_MAC = struct.Struct("<32sB")
_MAC_ETHERNET = 6
# Addresses (local, remote), ports, protocol, where the address comes from; longer since UEFI 2.4: by gateway
# and mask, by prefix length and gateway.
_IPV4 = struct.Struct("<4s4sHHHB")
_IPV4_FULL = struct.Struct("<4s4sHHHB4s4s")
_IPV6 = struct.Struct("<16s16sHHHB")
_IPV6_FULL = struct.Struct("<16s16sHHHBB16s")
_PROTOCOLS = {6: "TCP", 17: "UDP"}
_ORIGINS = {0: "Static", 1: "StatelessAutoConfigure"}
_INFINIBAND = struct.Struct("<I16sQQQ")
# Protocol, login options, logical unit, target portal group; the target's name follows.
_ISCSI = struct.Struct("<HH8sH")
_CRC_HEADER, _CRC_DATA, _NO_CHAP, _CHAP_ONE_WAY = 1 << 1, 1 << 3, 1 << 11, 1 << 12
_ADDRESS_SIZE = 16


def _mac(data: bytes) -> str:
    address, kind = _MAC.unpack_from(data)
    return f"MAC({hex_text(address[:_MAC_ETHERNET] if kind in (0, 1) else address)},0x{kind:X})"


def _protocol(number: int) -> str:
    return _PROTOCOLS.get(number, f"0x{number:X}")


def _dotted(address: bytes) -> str:
    return ".".join(str(byte) for byte in address)


def _groups(address: bytes) -> str:
    return address.hex(":", 2).upper()


def _ipv4(data: bytes) -> str:
    local, remote, _local_port, _remote_port, protocol, static = _IPV4.unpack_from(data)
    parts = [_dotted(remote), _protocol(protocol), "Static" if static else "DHCP", _dotted(local)]
    # Exactly that long: the firmware looks at no other length.
    if len(data) == _IPV4_FULL.size:
        *_same, gateway, mask = _IPV4_FULL.unpack(data)
        parts += [_dotted(gateway), _dotted(mask)]
    return f"IPv4({','.join(parts)})"


def _ipv6(data: bytes) -> str:
    local, remote, _local_port, _remote_port, protocol, origin = _IPV6.unpack_from(data)
    origin_text = _ORIGINS.get(origin, "StatefulAutoConfigure")
    parts = [_groups(remote), _protocol(protocol), origin_text, _groups(local)]
    if len(data) == _IPV6_FULL.size:
        *_same, prefix, gateway = _IPV6_FULL.unpack(data)
        parts += [f"0x{prefix:X}", _groups(gateway)]
    return f"IPv6({','.join(parts)})"


def _infiniband(data: bytes) -> str:
    flags, port, *others = _INFINIBAND.unpack_from(data)
    return f"Infiniband(0x{flags:X},{guid_text(port)},{','.join(f'0x{other:X}' for other in others)})"


def _iscsi(data: bytes) -> str:
    protocol, options, unit, group = _ISCSI.unpack_from(data)
    login = "None" if options & _NO_CHAP else "CHAP_UNI" if options & _CHAP_ONE_WAY else "CHAP_BI"
    parts = [
        ascii_text(data[_ISCSI.size :]),
        f"0x{group:X}",
        "0x" + hex_text(unit),
        "CRC32C" if options & _CRC_HEADER else "None",
        "CRC32C" if options & _CRC_DATA else "None",
        login,
        "reserved" if protocol else "TCP",
    ]
    return f"iSCSI({','.join(parts)})"


def _dns(data: bytes) -> str:
    show = _groups if data[0] else lambda address: _dotted(address[:4])
    last = len(data) - _ADDRESS_SIZE
    return f"Dns({','.join(show(data[at : at + _ADDRESS_SIZE]) for at in range(1, last + 1, _ADDRESS_SIZE))})"


FORMS: Forms = {
    (MESSAGING, 0x09): Form(_INFINIBAND.size, _infiniband),
    (MESSAGING, 0x0B): Form(_MAC.size, _mac),
    (MESSAGING, 0x0C): Form(_IPV4.size, _ipv4),
    (MESSAGING, 0x0D): Form(_IPV6.size, _ipv6),
    (MESSAGING, 0x13): Form(_ISCSI.size, _iscsi),
    (MESSAGING, 0x14): plain("H", "Vlan({0})"),
    (MESSAGING, 0x18): Form(0, lambda data: f"Uri({ascii_text(data)})"),
    (MESSAGING, 0x1B): Form(6, lambda data: f"Bluetooth({hex_text(data[:6])})"),
    (MESSAGING, 0x1C): Form(32, lambda data: f"Wi-Fi({ascii_text(data[:32])})"),
    (MESSAGING, 0x1E): Form(7, lambda data: f"BluetoothLE({hex_text(data[:6])},0x{data[6]:02X})"),
    (MESSAGING, 0x1F): Form(1, _dns),
}
