"""Debian packages made on the spot, for the guest's own package manager."""

from pathlib import Path
from tempfile import TemporaryDirectory

from tests.firmware import tool

CONTROL = """\
Package: {name}
Version: {version}
Architecture: all
Maintainer: Anna <anna@fernwick.invalid>
Description: what a test installs
"""


def package(name: str, version: str, after: str) -> bytes:
    """A package without files; ``after`` is the shell script that runs once it is installed."""
    with TemporaryDirectory(prefix="package.") as folder:
        tree, packed = Path(folder, "tree"), Path(folder, "package.deb")
        (tree / "DEBIAN").mkdir(parents=True)
        (tree / "DEBIAN/control").write_text(CONTROL.format(name=name, version=version))
        script = tree / "DEBIAN/postinst"
        script.write_text(f"#!/bin/sh\nset -e\n{after}\n")
        script.chmod(0o755)
        tree.chmod(0o755)
        # Uncompressed: the guest is emulated.
        tool.run(["dpkg-deb", "--root-owner-group", "-Znone", "--build", tree, packed])
        return packed.read_bytes()
