"""The history of snapshots: SQLite, written only by the reader.

An unchanged boot costs a row in ``snapshot``:
states, gaps and results are documents that are stored once for each distinct content.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from bootwatch.keep import chain, compact, parts, schema
from bootwatch.keep.canonical import canonical
from bootwatch.keep.circumstances import unpacked
from bootwatch.keep.database import FILE_NAME as FILE_NAME
from bootwatch.keep.database import Database
from bootwatch.model.change import Drift
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Circumstance, Moment, Part, Snapshot, State

_COLUMNS = "number, boot_id, moment, time, state, baseline, gaps, result, overview"
_ENDLESS = (1 << 63) - 1


@dataclass(frozen=True)
class Row:
    """One snapshot as the history lists it; ``result`` is the drift found then, None without a baseline;
    ``overview`` what the machine started from, in words."""

    number: int
    boot_id: str | None
    moment: Moment
    time: str
    state: str
    baseline: str | None
    has_gaps: bool
    result: dict[str, Any] | None
    overview: dict[str, Any]

    @property
    def drift(self) -> Drift | None:
        return Drift.from_json(self.result) if self.result else None


class History(Database):
    """An open history; `History.open` for the reader, `History.look` for everybody else."""

    def add(self, snapshot: Snapshot, overview: dict[str, Any]) -> int:
        """Record a snapshot with its overview and return its number. Call it inside a transaction."""
        before = self._last_part_digests()
        own = {
            name: parts.store(self.database, part, before.get(name))
            for name, part in snapshot.state.parts().items()
        }
        documents = {
            "state": self.store(own),
            "gaps": self.store([gap.to_json() for gap in snapshot.gaps]),
            "overview": self.store(overview),
            "baseline": None,
            "result": None,
        }
        return compact.add(self.database, snapshot.circumstance.to_json(), documents)

    def set_result(self, number: int, baseline: str, result: Drift) -> None:
        """Say how the newest snapshot differs from the baseline whose file has the SHA-256 ``baseline``. Call
        it inside a transaction."""
        document = compact.document(self.database, self.store(result.to_json()))
        self.database.execute(
            "UPDATE record SET baseline = ?, result = ?, link = NULL WHERE number = ?",
            (compact.word(self.database, baseline), document, number),
        )

    def set_overview(self, number: int, overview: dict[str, Any]) -> None:
        """Say anew what the machine started from in the newest snapshot, where more is known of its systems
        by now. Call it inside a transaction."""
        self.database.execute(
            "UPDATE record SET overview = ?, link = NULL WHERE number = ?",
            (compact.document(self.database, self.store(overview)), number),
        )

    def snapshot(self, number: int) -> Snapshot:
        """The whole snapshot. Raises KeyError for a number that the history doesn't hold."""
        row = self.database.execute(
            "SELECT circumstance, gaps FROM snapshot WHERE number = ?", (number,)
        ).fetchone()
        if row is None:
            raise KeyError(number)
        circumstance, gaps = row
        return Snapshot(
            Circumstance.from_json(unpacked(circumstance)),
            State.from_parts(self.parts(number)),
            tuple(Gap.from_json(item) for item in self._load(gaps)),
            number,
        )

    def drift(self, own: str) -> Drift:
        """A comparison by its digest. Raises KeyError for one that isn't there."""
        return Drift.from_json(self._load(own))

    def baseline_before(self, number: int) -> str | None:
        """The digest of the baseline that the last one before a snapshot was compared with."""
        row = self.database.execute(
            "SELECT baseline FROM snapshot WHERE number < ? AND baseline IS NOT NULL"
            " ORDER BY number DESC LIMIT 1",
            (number,),
        ).fetchone()
        return str(row[0]) if row else None

    def circumstance(self, number: int) -> Circumstance | None:
        """A snapshot's circumstance, None where the history doesn't hold it."""
        return self._circumstance("WHERE number = ?", number)

    def circumstances(self, first: int, last: int | None, most: int) -> Iterator[tuple[int, Circumstance]]:
        """Those from one snapshot to another, both included, by number; None: to the newest. The first one
        and at most the last ``most`` of the others."""
        rows = self.database.execute(
            "SELECT number, circumstance FROM snapshot WHERE number BETWEEN ?1 AND ?2 AND (number = ?1"
            " OR number IN (SELECT number FROM snapshot WHERE number BETWEEN ?1 AND ?2"
            " ORDER BY number DESC LIMIT ?3)) ORDER BY number",
            (first, _ENDLESS if last is None else last, most),
        )
        return ((number, Circumstance.from_json(unpacked(text))) for number, text in rows.fetchall())

    def overview(self, number: int) -> dict[str, Any]:
        """What the machine started from in a snapshot; empty for a number that the history doesn't hold."""
        row = self.database.execute("SELECT overview FROM snapshot WHERE number = ?", (number,)).fetchone()
        return dict(self._load(row[0])) if row else {}

    def first_number(self) -> int | None:
        """The oldest snapshot's number, None where there is none."""
        row = self.database.execute("SELECT min(number) FROM snapshot").fetchone()
        return None if row[0] is None else int(row[0])

    @property
    def is_new(self) -> bool:
        """Whether no snapshot was ever recorded."""
        row = self.database.execute(
            "SELECT max(seq) FROM sqlite_sequence WHERE name IN ('record', 'snapshot')"
        ).fetchone()
        return not row[0]

    def number_on(self, last: int) -> None:
        """Number the first snapshot of a new history after ``last``, and begin its chain there. Call it
        inside a transaction."""
        self.database.execute("DELETE FROM sqlite_sequence WHERE name = 'record'")
        self.database.execute("INSERT INTO sqlite_sequence VALUES ('record', ?)", (last,))
        self.database.execute("INSERT INTO anchor VALUES (?, ?)", (last, chain.FIRST))

    def last_circumstance(self) -> Circumstance | None:
        """The newest snapshot's, None where there is none."""
        return self._circumstance("ORDER BY number DESC LIMIT ?", 1)

    def _circumstance(self, which: str, value: int) -> Circumstance | None:
        row = self.database.execute(f"SELECT circumstance FROM snapshot {which}", (value,)).fetchone()
        return Circumstance.from_json(unpacked(row[0])) if row else None

    def rows(self, most: int | None = None) -> list[Row]:
        """The newest snapshots, newest first."""
        return self._select("ORDER BY number DESC LIMIT ?", -1 if most is None else most)

    def row(self, number: int) -> Row | None:
        """One snapshot's row, None where the history doesn't hold it."""
        return next(iter(self._select("WHERE number = ?", number)), None)

    def rows_before(self, number: int | None, baseline: str, most: int) -> Iterator[Row]:
        """Snapshots compared with one baseline, newest first, from before ``number`` if that is given."""
        which = "WHERE number < ? AND baseline = ? ORDER BY number DESC LIMIT ?"
        found = self.database.execute(
            f"SELECT {_COLUMNS} FROM snapshot {which}", (number or _ENDLESS, baseline, most)
        )
        return (self._row(*values) for values in found.fetchall())

    def _select(self, which: str, value: int) -> list[Row]:
        found = self.database.execute(f"SELECT {_COLUMNS} FROM snapshot {which}", (value,)).fetchall()
        return [self._row(*values) for values in found]

    def _row(
        self,
        number: int,
        boot_id: str | None,
        moment: str,
        time: str,
        state: str,
        baseline: str | None,
        gaps: str,
        result: str | None,
        overview: str,
    ) -> Row:
        return Row(
            number=number,
            boot_id=boot_id,
            moment=Moment(moment),
            time=time,
            state=state,
            baseline=baseline,
            has_gaps=bool(self._load(gaps)),
            result=self._load(result) if result else None,
            overview=self._load(overview),
        )

    @property
    def has_predictions(self) -> bool:
        """Whether it holds predictions: one of before them is brought up to date by the next snapshot."""
        return schema.version_of(self.database) >= schema.PREDICTIONS

    @property
    def has_churn(self) -> bool:
        """Whether it counts what changes at many starts."""
        return schema.version_of(self.database) >= schema.CHURN

    @property
    def is_compact(self) -> bool:
        """Whether its records lie in few bytes (keep/compact.py)."""
        return schema.version_of(self.database) >= schema.COMPACT

    @property
    def has_former(self) -> bool:
        """Whether it may have dropped its oldest snapshots (keep/prune.py)."""
        return schema.version_of(self.database) >= schema.CHAIN

    def part_digests(self, number: int) -> dict[str, str]:
        """The digests of a snapshot's parts by name. Raises KeyError for a number that isn't there."""
        return dict(self._load(self._documents(number)[0]))

    def parts_by_digest(self, wanted: dict[str, str]) -> dict[str, Part]:
        """Parts by name, each by its digest. Raises KeyError for one that isn't there."""
        return {name: parts.load(self.database, own) for name, own in wanted.items()}

    def parts(self, number: int) -> dict[str, Part]:
        """A snapshot's state as its stored parts. Raises KeyError for a number that isn't there."""
        return self._parts(self._documents(number)[0])

    def state(self, number: int, only: Collection[str]) -> tuple[State, tuple[Gap, ...]]:
        """Some parts of a snapshot's state, by name, and all its gaps. Raises KeyError as `parts` does."""
        own, gaps = self._documents(number)
        return State.from_parts(self._parts(own, only)), tuple(Gap.from_json(one) for one in self._load(gaps))

    def _documents(self, number: int) -> tuple[str, str]:
        row = self.database.execute("SELECT state, gaps FROM snapshot WHERE number = ?", (number,)).fetchone()
        if row is None:
            raise KeyError(number)
        return row[0], row[1]

    def _parts(self, state: str, only: Collection[str] | None = None) -> dict[str, Part]:
        wanted = {name: own for name, own in self._load(state).items() if only is None or name in only}
        return self.parts_by_digest(wanted)

    def import_log(self, lines: Iterable[str]) -> None:
        """Copy lines of the administrator's log that are not here yet."""
        self.database.executemany("INSERT OR IGNORE INTO log VALUES (?)", [(line,) for line in lines])

    def has_logged(self, said: str) -> bool:
        """Whether a line of the log says that."""
        found = self.database.execute("SELECT 1 FROM log WHERE instr(line, ?) LIMIT 1", (said,))
        return found.fetchone() is not None

    def _last_part_digests(self) -> dict[str, str]:
        row = self.database.execute("SELECT state FROM snapshot ORDER BY number DESC LIMIT 1").fetchone()
        return dict(self._load(row[0])) if row else {}

    def store(self, value: Any) -> str:
        """Store a document, unless it is there. Returns its digest."""
        return compact.store(self.database, canonical(value))

    def _load(self, own: str) -> Any:
        row = self.database.execute("SELECT text FROM document WHERE digest = ?", (own,)).fetchone()
        if row is None:
            raise KeyError(own)
        return json.loads(row[0])
