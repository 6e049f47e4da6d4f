"""Who built a program, out of its `.sbat` section: shim's SBAT.md.

A line each: component, generation, vendor, package, version, address. A vendor's own line has the vendor's
mark behind a full stop in the component; the first of these is whose program it is.
"""

from __future__ import annotations

_VENDOR = 2
_MOST_LINES = 64


def vendor(text: str) -> str:
    """The vendor's name; "" where nobody but the makers of the source is named.

    >>> vendor("sbat,1,SBAT Version,sbat,1,\\nloader.fernwick,2,Fernwick Linux,loader,7.1,\\n")
    'Fernwick Linux'
    """
    for line in text.split("\n", _MOST_LINES)[:_MOST_LINES]:
        fields = line.split(",")
        if len(fields) > _VENDOR and "." in fields[0]:
            return fields[_VENDOR].strip()
    return ""
