"""Where things lie, for one machine root."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Places:
    """Every path that bootwatch itself uses; who may write each is in DEVELOPERS.md. ``from_kit`` is a
    recovery kit that stands for the baseline and its spares; ``state`` is then a folder for records alone."""

    root: Path
    state: Path
    config: Path
    from_kit: Path | None = None

    @classmethod
    def below(
        cls, root: str | Path = "/", state: str | Path | None = None, config: str | Path | None = None
    ) -> Places:
        """The usual places below ``root``, but for those that are named."""
        top = Path(root)
        return cls(
            root=top,
            state=Path(state) if state else top / "var/lib/bootwatch",
            config=Path(config) if config else top / "etc/bootwatch/bootwatch.yaml",
        )

    @property
    def is_this_machine(self) -> bool:
        """Whether the running machine itself is looked at (and not a folder that stands for one)."""
        return self.root.resolve() == Path("/")

    @property
    def addresses(self) -> Path:
        return self.config.with_name("addresses.yaml")

    @property
    def machine_key(self) -> Path:
        """The private key by which this machine's mails are proven; root's alone."""
        return self.config.with_name("machine.key")

    @property
    def baseline(self) -> Path:
        return self.state / "baseline"

    @property
    def spares(self) -> Path:
        return self.state / "spares"

    @property
    def history(self) -> Path:
        return self.state / "history"

    @property
    def spool(self) -> Path:
        return self.state / "spool"

    @property
    def restores(self) -> Path:
        """What `restore` wrote, with what was there before. Root's."""
        return self.state / "restores"

    @property
    def log_folder(self) -> Path:
        """Where root's log lies: beside the records with a kit, which stays what it is, and where nothing was
        ever saved."""
        return self.restores if self.from_kit or not self.baseline.is_dir() else self.baseline

    @property
    def kit(self) -> Path:
        """The recovery kit that is always kept here, and when one was last put elsewhere. Root's."""
        return self.state / "kit"

    @property
    def receipts(self) -> Path:
        """The sender's own folder."""
        return self.state.with_name(self.state.name + "-send")

    @property
    def run(self) -> Path | None:
        """What any user may read; None where the root has no /run."""
        run = self.root / "run"
        return run / "bootwatch" if run.is_dir() else None
