"""Published formats: bytes in, values out. Pure readers of what other systems and firmware wrote.

Each module reads one format and can be used without the rest of the project. Damage is a value: where
anything useful can be said, the object comes back with ``problems``, a list of sentences that say what is
wrong and at which offset, and with its raw bytes where those are small. Where nothing can be said,
`FormatError` is raised. An OSError of the reader that was handed in always passes through: unreadable is not
damaged.
"""


class FormatError(ValueError):
    """The bytes are not of this format, or too damaged to say anything about."""


class TooLarge(FormatError):
    """The content is larger than the limit that the caller set; nothing is wrong with it otherwise."""
