"""The guest's mail server: keeps every mail as a file, in the order in which they came."""

import asyncio
import os
import sys
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP
from systemd import daemon

FOLDER = Path(sys.argv[1])


class Keeper:
    """Says yes once the mail lies on the disk."""

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        """The library calls this for each mail."""
        with (FOLDER / f"{len(list(FOLDER.iterdir())) + 1}.eml").open("xb") as file:
            file.write(envelope.content)
            file.flush()
            os.fsync(file.fileno())
        return "250 kept"


async def main() -> None:
    """Serves until it is stopped."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    loop = asyncio.get_running_loop()
    server = await loop.create_server(lambda: SMTP(Keeper(), hostname="pantry"), "127.0.0.1", 25)
    daemon.notify("READY=1")
    await server.serve_forever()


asyncio.run(main())
