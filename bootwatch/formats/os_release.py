"""os-release(5): what a system calls itself, in /etc/os-release and in a unified kernel image's `.osrel`.

UTF-8 text, an assignment a line, as a shell would take it: NAME=value, the value bare or within single or
double quotes; in double quotes a backslash protects `"`, `$`, "`" and another backslash. Lines that begin
with "#" are comments. Nothing is expanded.
"""

import re

_LINE = re.compile(r"[ \t]*([A-Za-z_][A-Za-z0-9_]*)=(.*)")
_PART = re.compile(r"""'([^']*)'|"((?:[^"\\]|\\.)*)"|\\(.)|([^\s'"\\]+)""")
_PROTECTED = re.compile(r"""\\(["$`\\])""")
MAX_VALUES = 1024


def parse(text: str) -> dict[str, str]:
    r"""The values by name. A name's last line holds, and what is no assignment is left out.

    A value whose quotes do not close is kept as it stands. Never fails.

    >>> parse('# comment\nID=fernwick\nNAME="Fernwick \\"Linux\\""\nVERSION_ID=\'7\'')
    {'ID': 'fernwick', 'NAME': 'Fernwick "Linux"', 'VERSION_ID': '7'}
    """
    found: dict[str, str] = {}
    for line in text.split("\n"):
        match = _LINE.match(line)
        if match and (match[1] in found or len(found) < MAX_VALUES):
            found[match[1]] = _value(match[2])
    return found


def _value(text: str) -> str:
    """The parts up to the first blank that no quotes protect, joined."""
    parts = []
    at = 0
    while at < len(text) and not text[at].isspace():
        match = _PART.match(text, at)
        if match is None:
            return text.rstrip()
        single, double, escaped, bare = match.groups()
        parts.append(
            single or escaped or bare or (_PROTECTED.sub(r"\1", double) if double is not None else "")
        )
        at = match.end()
    return "".join(parts)
